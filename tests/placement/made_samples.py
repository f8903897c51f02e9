"""Pressures at made-up openings, known but for what a test says."""

import numpy as np

from panelcp.onset.conditions import FlightCondition
from panelcp.placement.bands import PatchForms, PressureSamples, UncertainAir
from panelcp.placement.pair_bands import pair_bands
from panelcp.placement.ranking import OpeningPressures, OpeningRanking
from panelcp.surface.opening import Opening


def opening(name, x, side=0.1, use="exit"):
    """A square on the plane z = 0, its centre on the x axis."""
    corners = 0.5 * side * np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0], [-1, -1, 0]])
    centre = np.array([x, 0.0, 0.0])
    return Opening(
        name=name,
        use=use,
        kind="flush hole",
        shape="rectangle",
        length=side,
        width=side,
        turn=0.0,
        centre=centre,
        along=[1.0, 0.0, 0.0],
        across=[0.0, 1.0, 0.0],
        normal=[0.0, 0.0, 1.0],
        outline=centre + corners,
        sample_points=centre[None],
        sample_panels=[0],
        sample_weights=[1.0],
        area=side**2,
    )


def made_samples(openings, patch, kinds=(), weights=None, count=2000, **more):
    """PressureSamples of patch pressures (n_conditions, n_openings) Pa; inlets recover nothing."""
    patch = np.asarray(patch, dtype=float)
    n_conditions, n = patch.shape
    weights = np.ones(n_conditions) if weights is None else weights
    form = np.zeros((n_conditions, 30, n))
    given = {
        "openings": tuple(openings),
        "conditions": tuple(
            FlightCondition(f"condition {k}", 40.0, weight=w) for k, w in enumerate(weights)
        ),
        "predicted": np.ones(n_conditions, dtype=bool),
        "patch": patch,
        "head": patch,
        "recovery": np.zeros(n),
        "recovery_low": np.zeros(n),
        "recovery_high": np.zeros(n),
        "forms": PatchForms(form, form, form, form, np.zeros((n_conditions, n))),
        "air": UncertainAir(),
        "kinds": tuple(kinds),
        "wetting": np.ones((n, 1)),
        "needed_low": np.zeros(n_conditions),
        "needed_high": np.zeros(n_conditions),
        "count": count,
    }
    return PressureSamples(**given | more)


def made_ranking(samples, n_inlets, needed):
    """OpeningRanking of every inlet with every exit; all conditions decide."""
    patch, needed = samples.patch, np.asarray(needed, dtype=float)
    n, decides = len(samples.openings), np.ones(len(needed), dtype=bool)
    bands = pair_bands(samples, n_inlets, needed, decides)
    first, second = (part.ravel() for part in np.indices((n_inlets, n - n_inlets)))
    available = patch[:, first] - patch[:, n_inlets + second]
    ratio = available / needed[:, None]
    order = np.argsort(-ratio.min(axis=0), kind="stable")
    into, out = (
        OpeningPressures(samples.openings[a:b], *(patch[:, a:b] for _ in range(6)))
        for a, b in ((0, n_inlets), (n_inlets, n))
    )
    return OpeningRanking(
        inlets=into,
        exits=out,
        inlet_index=first[order],
        exit_index=second[order],
        available=available[:, order],
        needed=needed,
        needed_deviation=np.zeros(len(needed)),
        inlet_deviation=bands.inlet_deviation,
        exit_deviation=bands.exit_deviation,
        deviation=bands.deviation[:, first[order], second[order]],
        decides=decides,
        ratio=ratio[:, order],
        least_ratio=ratio.min(axis=0)[order],
        mean_ratio=ratio.mean(axis=0)[order],
        limiting=ratio.argmin(axis=0)[order],
        reversal=bands.reversal[:, first[order], second[order]],
        sufficiency=bands.sufficiency[:, first[order], second[order]],
        least_sufficiency=bands.least_sufficiency[first[order], second[order]],
        bands=bands,
    )

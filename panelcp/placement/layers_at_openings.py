"""Boundary layer and separation under openings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.flow.boundary_layer import recovery_of_flush_inlet
from panelcp.flow.skin_layers import (
    ATTACHED,
    LEE,
    OPEN,
    POCKET,
    POSSIBLE,
    REATTACHED,
    SEPARATED_STATES,
    UNKNOWN,
    SkinLayers,
    skin_layers,
)
from panelcp.flow.superposition import SurfaceFlow
from panelcp.surface.mesh import frozen_array
from panelcp.surface.opening import Opening

WORST_FIRST = (LEE, OPEN, POCKET, POSSIBLE, REATTACHED, ATTACHED, UNKNOWN)
"""The state of an opening is the first of these that holds for a tenth of its area."""

LEAST_SHARE = 0.1
STRADDLING = (0.1, 0.9)
"""An opening lies across a separation line when a part of its area within these is beyond it."""

DRAWN_FROM = 0.5
"""A flush inlet draws its air from so much of its smaller side above the skin: memory."""

FLUSH_KINDS = ("submerged", "flush hole", "louvre")


@dataclass(frozen=True, eq=False)
class OpeningLayers:
    """Boundary layer under openings in all conditions.

    Attributes
    ----------
    openings : in order
    state : (n_conditions, n_openings) int, see `panelcp.flow.skin_layers`
    thickness : (n_conditions, n_openings) float, m, area mean where attached; nan elsewhere
    margin : (n_conditions, n_openings) float, m, least way from the opening on to separation (H
        2.4), negative behind it; nan where the air stays attached
    warned_margin : the same to H 1.8: from there on separation may come
    plateau : (n_conditions, n_openings) float, Pa, pressure of the pocket over the opening; nan
        without
    recovery_share : (n_conditions, n_openings) float, part of the recovery fraction that the layer
        leaves to a flush inlet, see `recovery_shares`; 1 for other kinds
    separated_share : (n_conditions, n_openings) float, part of the area that lies beyond a
        separation line: in a pocket, behind separation or in the lee
    """

    openings: tuple[Opening, ...]
    state: np.ndarray
    thickness: np.ndarray
    margin: np.ndarray
    warned_margin: np.ndarray
    plateau: np.ndarray
    recovery_share: np.ndarray
    separated_share: np.ndarray

    def __post_init__(self):
        object.__setattr__(self, "state", frozen_array(self.state, np.int64))
        for name in _VALUES:
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def straddles(self) -> np.ndarray:
        """(n_openings,) bool: in some condition the opening lies across a separation line."""
        low, high = STRADDLING
        across = (self.separated_share >= low) & (self.separated_share <= high)
        return across.any(axis=0)


_VALUES = (
    "thickness",
    "margin",
    "warned_margin",
    "plateau",
    "recovery_share",
    "separated_share",
)


def skin_under(flow: SurfaceFlow, openings: Sequence[Opening], mean_streams=None) -> SkinLayers:
    """Boundary layers at all panels under openings; turbulent from the nose in a slipstream.

    Parameters
    ----------
    flow : SurfaceFlow
    openings : openings laid onto its surface; without any, the layer at the first panel alone
    mean_streams : (n_conditions, 3) float, m/s, `Solutions.mean_streams`; without them no lee

    Returns
    -------
    SkinLayers
    """
    under = [opening.sample_panels for opening in openings] or [np.zeros(1, dtype=np.int64)]
    panels = np.unique(np.concatenate(under))
    return skin_layers(flow, panels, flow.mean_rise > 0.0, mean_streams)


def layers_at_openings(layers: SkinLayers, openings: Sequence[Opening]) -> OpeningLayers:
    """Boundary layers under openings.

    Parameters
    ----------
    layers : SkinLayers at the panels of the openings, from `skin_under`
    openings : openings laid onto its surface

    Returns
    -------
    OpeningLayers
    """
    columns = [
        _under(layers, place, opening)
        for place, opening in zip(_places(layers, openings), openings, strict=True)
    ]
    names = ("state", *_VALUES)
    together = {
        name: np.stack([column[k] for column in columns], axis=1) for k, name in enumerate(names)
    }
    return OpeningLayers(openings=tuple(openings), **together)


def recovery_shares(layers: SkinLayers, openings: Sequence[Opening]) -> np.ndarray:
    """Part of their recovery fraction that is left to inlets.

    Parameters
    ----------
    layers : SkinLayers at the panels of the openings, from `skin_under`
    openings : openings laid onto its surface, candidates too

    Returns
    -------
    (n_conditions, n_openings) float
        1 for what is no flush inlet, and where no layer is known.

    Notes
    -----
    Where the air follows the skin, what the boundary layer leaves (`recovery_of_flush_inlet`). Air
    in a pocket, behind separation or in the lee has no total pressure above its own static one
    that an inlet in the skin could recover: nothing. In a possible pocket it is attached in one
    half of all worlds: half. The mean over the area counts. Mark: common practice for the
    separated part, no source.
    """
    shares = np.ones((len(layers.state), len(openings)))
    for k, (place, opening) in enumerate(zip(_places(layers, openings), openings, strict=True)):
        shares[:, k] = _recovery_share(layers, place, opening)
    return shares


def _places(layers: SkinLayers, openings: Sequence[Opening]) -> list[np.ndarray]:
    """For each opening where its panels stand in the layers."""
    panels = np.concatenate([opening.sample_panels for opening in openings])
    ends = np.cumsum([len(opening.sample_panels) for opening in openings])[:-1]
    return np.split(np.searchsorted(layers.panels, panels), ends)


def _recovery_share(layers: SkinLayers, place, opening: Opening) -> np.ndarray:
    """(n_conditions,) float of one opening."""
    if opening.kind not in FLUSH_KINDS or not opening.takes_air_in:
        return np.ones(len(layers.state))
    height = DRAWN_FROM * min(opening.length, opening.width)
    thickness = _mean(layers.thickness[:, place], opening.sample_weights)
    layer = recovery_of_flush_inlet(np.nan_to_num(thickness, nan=0.0), height)
    states = layers.state[:, place]
    following = np.where(np.isin(states, SEPARATED_STATES), 0.0, 1.0)
    following[states == POSSIBLE] = 0.5
    return layer * (following @ opening.sample_weights)


def _under(layers, place, opening: Opening) -> tuple[np.ndarray, ...]:
    """State, thickness, margins, plateau, share of recovery, share of area separated."""
    weights = opening.sample_weights
    states = layers.state[:, place]
    state = np.full(len(states), UNKNOWN)
    for value in reversed(WORST_FIRST):
        state[(states == value) @ weights >= LEAST_SHARE] = value
    return (
        state,
        _mean(layers.thickness[:, place], weights),
        _least(layers.margin[:, place]),
        _least(layers.warned_margin[:, place]),
        _mean(layers.plateau[:, place], weights),
        _recovery_share(layers, place, opening),
        np.isin(states, SEPARATED_STATES) @ weights,
    )


def _mean(values, weights) -> np.ndarray:
    """Weighted mean over what is not nan; nan where all is."""
    there = np.isfinite(values)
    total = there @ weights
    summed = np.where(there, values, 0.0) @ weights
    return np.divide(summed, total, out=np.full(len(values), np.nan), where=total > 0.0)


def _least(values) -> np.ndarray:
    """Least value that is not nan; nan where all are."""
    least = np.where(np.isfinite(values), values, np.inf).min(axis=1)
    return np.where(np.isfinite(least), least, np.nan)

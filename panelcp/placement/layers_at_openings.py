"""Boundary layer and separation under openings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.flow.boundary_layer import recovery_of_flush_inlet
from panelcp.flow.skin_layers import (
    ATTACHED,
    OPEN,
    POCKET,
    REATTACHED,
    UNKNOWN,
    SkinLayers,
    skin_layers,
)
from panelcp.flow.superposition import SurfaceFlow
from panelcp.surface.mesh import frozen_array
from panelcp.surface.opening import Opening

WORST_FIRST = (OPEN, POCKET, REATTACHED, ATTACHED, UNKNOWN)
"""The state of an opening is the first of these that holds for a tenth of its area."""

LEAST_SHARE = 0.1
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
        leaves to a flush inlet; 1 for other kinds
    """

    openings: tuple[Opening, ...]
    state: np.ndarray
    thickness: np.ndarray
    margin: np.ndarray
    warned_margin: np.ndarray
    plateau: np.ndarray
    recovery_share: np.ndarray

    def __post_init__(self):
        object.__setattr__(self, "state", frozen_array(self.state, np.int64))
        for name in ("thickness", "margin", "warned_margin", "plateau", "recovery_share"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


def skin_under(flow: SurfaceFlow, openings: Sequence[Opening]) -> SkinLayers:
    """Boundary layers at all panels under openings; turbulent from the nose in a slipstream."""
    panels = np.unique(np.concatenate([opening.sample_panels for opening in openings]))
    return skin_layers(flow, panels, flow.mean_rise > 0.0)


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
    panels = np.concatenate([opening.sample_panels for opening in openings])
    places = np.searchsorted(layers.panels, panels)
    ends = np.cumsum([len(opening.sample_panels) for opening in openings])[:-1]
    groups = np.split(places, ends)
    columns = [
        _under(layers, place, opening) for place, opening in zip(groups, openings, strict=True)
    ]
    names = ("state", "thickness", "margin", "warned_margin", "plateau", "recovery_share")
    together = {
        name: np.stack([column[k] for column in columns], axis=1) for k, name in enumerate(names)
    }
    return OpeningLayers(openings=tuple(openings), **together)


def _under(layers, place, opening: Opening) -> tuple[np.ndarray, ...]:
    """State, thickness, margins, plateau and share of recovery of one opening."""
    weights = opening.sample_weights
    states = layers.state[:, place]
    state = np.full(len(states), UNKNOWN)
    for value in reversed(WORST_FIRST):
        state[(states == value) @ weights >= LEAST_SHARE] = value
    thickness = _mean(layers.thickness[:, place], weights)
    share = np.ones(len(states))
    if opening.kind in FLUSH_KINDS and opening.takes_air_in:
        height = DRAWN_FROM * min(opening.length, opening.width)
        share = recovery_of_flush_inlet(np.nan_to_num(thickness, nan=height), height)
    return (
        state,
        thickness,
        _least(layers.margin[:, place]),
        _least(layers.warned_margin[:, place]),
        _mean(layers.plateau[:, place], weights),
        share,
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

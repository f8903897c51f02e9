"""What slipstream, swirl, wing and ground each contribute to the pressure at openings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.flow.solutions import Solutions
from panelcp.onset.surroundings import EFFECTS
from panelcp.placement.ranking import opening_pressures
from panelcp.surface.mesh import frozen_array
from panelcp.surface.opening import Opening


@dataclass(frozen=True, eq=False)
class EffectShares:
    """Pressure at openings, and by how much every effect changes it.

    Attributes
    ----------
    openings : in order
    effects : names of those that act in some condition, in the order of EFFECTS
    pressure : (n_conditions, n_openings) float, Pa, patch pressure with all effects
    share : (n_effects, n_conditions, n_openings) float, Pa, patch pressure with all effects less
        that without the one; for the slipstream the swirl is left out on both sides
    """

    openings: tuple[Opening, ...]
    effects: tuple[str, ...]
    pressure: np.ndarray
    share: np.ndarray

    def __post_init__(self):
        object.__setattr__(self, "pressure", frozen_array(self.pressure))
        object.__setattr__(self, "share", frozen_array(self.share))


def effect_shares(
    solutions: Solutions, openings: Sequence[Opening], in_free_air: Solutions | None = None
) -> EffectShares:
    """Switch every effect off in turn.

    Parameters
    ----------
    solutions : Solutions of all conditions
    openings : openings laid onto the surface
    in_free_air : Solutions of the same conditions without the ground; None when no condition has it

    Returns
    -------
    EffectShares

    Notes
    -----
    The pressure goes with the square of the speed, so the shares do not add up to the difference
    between all and none.
    """

    def pressures(flow):
        return opening_pressures(flow, openings, np.zeros(len(openings))).patch_pressure

    around = solutions.surroundings
    everything = pressures(solutions.flow())
    without_swirl = pressures(solutions.flow_with(around.without("swirl")))
    still = around.without("swirl").without("slipstream")
    shares = {
        "slipstream": without_swirl - pressures(solutions.flow_with(still)),
        "swirl": everything - without_swirl,
        "wing": everything - pressures(solutions.flow_with(around.without("wing"))),
    }
    if in_free_air is not None:
        shares["ground"] = everything - pressures(in_free_air.flow())
    acting = tuple(name for name in EFFECTS if name in shares and shares[name].any())
    return EffectShares(
        openings=tuple(openings),
        effects=acting,
        pressure=everything,
        share=np.array([shares[name] for name in acting]).reshape(-1, *everything.shape),
    )

"""The data behind the live page, as one block of bytes.

The block holds the surface, the surface velocities of the unit solutions, what is needed to repeat
the superposition of `panelcp.flow` in another language, and what is frozen while sliders move.

How its bytes are laid out stands in `block_bytes.py`; a page holds it in the shorter way of
`block_coding.py`.

Unit velocities are along the skin, so that two components in the frame of each panel are enough.
On a mirrored surface the second half has the mirrored frames, and a field that is even or odd
there is stored for the first half only. The slipstreams of all conditions of a part are sums of
few: their profiles over the disc differ little but in size.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from panelcp.atmosphere import GRAVITY
from panelcp.flow.skin_layers import STATE_NAMES
from panelcp.flow.solutions import Part, Solutions
from panelcp.flow.superposition import SurfaceFlow
from panelcp.onset.surroundings import Sections
from panelcp.panels.solving import MIRROR, STREAMS
from panelcp.placement.spoilers import BREATHES, UNEVEN
from panelcp.report.contents import RunContents
from panelcp.report.live.block_bytes import BlockArrays
from panelcp.report.live.block_coding import DENSE, frames_of
from panelcp.report.live.script_text import joined_scripts
from panelcp.surface.curved import curved_panels
from panelcp.surface.interpolation import _vertex_fits
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.neighbours import corner_groups, smooth_neighbours
from panelcp.surface.opening import Opening

FORMAT = 1

LEVELS = 2**20
"""Steps over the bounding box: even, so that the middle plane of a mirrored body is met exactly.
On 7 m a step is 7 micrometres. With 2^16 steps the pressure read at a tight shoulder was off by
0.003 in Cp, since it changes by as much as 50 per metre there."""

SECTION_LEVELS = 2**16 - 1
"""Steps up to the greatest section of the body."""

VELOCITY_STEP = 1e-4
"""Step of a stored velocity, parts of the speed of the air where its field has most weight. Half
of it, at 1.5 times that speed, changes Cp by 1.5e-4."""

SEPARATION_STEP = 5e-4
"""Step of the change by separated air, parts of q and mean rise."""

PROFILE_TOLERANCE = 1e-5
"""A part of the slipstreams' profiles smaller than this is left out."""

THINNEST, THICKNESS_STEPS = 1e-4, 60.0
"""m, least thickness of a layer that is told, and steps to ten times it: within 2 % each."""

SCRIPTS = ("unpacking.js", "block_coding.js", "block.js", "flow.js", "patches.js")
"""Files beside this one that read the block, in the order in which they build on each other."""


def live_block(
    solutions: Solutions,
    flow: SurfaceFlow | None = None,
    skin_state: np.ndarray | None = None,
    needed: np.ndarray | None = None,
    skin_thickness: np.ndarray | None = None,
    more: dict[str, Any] | None = None,
) -> bytes:
    """The block of a set of solutions.

    Parameters
    ----------
    solutions : Solutions
    flow : SurfaceFlow with separated air; without it none is shown
    skin_state : (n_conditions, n_panels) int, state of the air over the skin, or None
    needed : (n_conditions,) float, Pa, nan where nothing is asked for; the conditions' own when
        not given
    skin_thickness : (n_conditions, n_panels) float, m, of the layer over the skin, nan where it is
        not known; None: not known anywhere
    more : further entries of the header, plain values

    Returns
    -------
    bytes, see the head of this module
    """
    flow = flow or solutions.flow()
    arrays = BlockArrays()
    header = {
        "format": FORMAT,
        **_surface(arrays, solutions),
        "states": {str(code): name for code, name in STATE_NAMES.items()},
        "gravity": GRAVITY,
        "breathes": BREATHES.value,
        "uneven": UNEVEN.value,
        **_surroundings(solutions),
        "parts": [_part(arrays, k, part, flow) for k, part in enumerate(solutions.parts)],
        "conditions": _conditions(solutions, flow, needed),
        "separated": _separated(arrays, flow, skin_state),
        "thickness": _thickness(arrays, skin_thickness),
        **(more or {}),
    }
    return arrays.joined(header)


def block_of_run(contents: RunContents) -> bytes:
    """The block of a run, with the openings that the case names and those of the short list.

    Parameters
    ----------
    contents : RunContents

    Returns
    -------
    bytes, see `live_block`; the header also has `openings`
    """
    ranking, openings = contents.ranking, contents.openings
    listed = {
        o.name: _opening(o, openings, k) for k, o in reversed([*enumerate(openings.openings)])
    }
    for pair in contents.short_list:
        places = ((ranking.inlets, ranking.inlet_index), (ranking.exits, ranking.exit_index))
        for group, index in places:
            opening = group.openings[index[pair]]
            listed.setdefault(opening.name, _opening(opening, group, int(index[pair])))
    best = [ranking.inlet(0).name, ranking.exit(0).name] if ranking.n_pairs else None
    return live_block(
        contents.solutions,
        contents.flow,
        contents.skin_state,
        ranking.needed,
        contents.skin_thickness,
        {"openings": list(listed.values()), "best": best},
    )


def block_script() -> str:
    """One classic script that reads the block; it adds to the global object `Panelcp`.

    Examples
    --------
    >>> "Panelcp" in block_script(), "</script" in block_script()
    (True, False)
    """
    return joined_scripts(SCRIPTS)


# --- surface -------------------------------------------------------------------------------


def _surface(arrays: BlockArrays, solutions: Solutions) -> dict[str, Any]:
    surface, panels = solutions.surface, curved_panels(solutions.surface)
    stored = surface.n_solved
    arrays.add("triangles", surface.triangles, "<u2" if surface.n_vertices < 65536 else "<u4")
    arrays.add("region", surface.region_index, "<u1" if len(surface.region_names) < 257 else "<u2")
    arrays.add("joints", _joints(surface), "<u1")
    arrays.add("normals", np.round(panels.normals[:stored] * DENSE), "<i2")
    header = {
        "n_panels": surface.n_panels,
        "n_stored": stored,
        "mirrored": surface.mirrored,
        "levels": LEVELS,
        "region_names": list(surface.region_names),
        "vertex_box": _placed(arrays, "vertices", surface.vertices),
        "point_box": _placed(arrays, "points", panels.points[:stored]),
    }
    propeller = solutions.surroundings.propeller
    if propeller is None:
        return header
    sections = Sections(surface, propeller)
    areas = sections.at(propeller.cylinder_coordinates(panels.points)[0])
    step = max(float(areas.max()), 1e-9) / SECTION_LEVELS
    arrays.add("section", np.round(areas / step), "<u2")
    return header | {"section_step": step, "section_at_disc": float(sections.at(0.0))}


def _placed(arrays: BlockArrays, name: str, points) -> dict[str, Any]:
    """Points over their bounding box; that of a mirrored body is even about y = 0."""
    low, high = points.min(axis=0), points.max(axis=0)
    step = np.maximum(high - low, 1e-9) / LEVELS
    arrays.add(name, np.round((points - low) / step), "<u4")
    return {"low": low, "step": step}


def _joints(surface: SurfaceMesh) -> np.ndarray:
    """(n_panels,) int: bits 0 to 2 smooth edges, bits 3 to 5 corners with a fit."""
    groups = corner_groups(surface)
    good = _vertex_fits(surface, np.arange(int(groups.max()) + 1)).good[groups].reshape(-1, 3)
    bits = np.hstack([smooth_neighbours(surface) >= 0, good])
    return bits @ (1 << np.arange(6))


def _frames(stored_normals) -> tuple[np.ndarray, np.ndarray]:
    """Two axes (n, 3) along the skin, from the normals as they are stored."""
    return frames_of(np.round(stored_normals * DENSE))


# --- what stands around the body -----------------------------------------------------------


def _surroundings(solutions: Solutions) -> dict[str, Any]:
    around = solutions.surroundings
    propeller, wing = around.propeller, around.wing
    header: dict[str, Any] = {"effects": list(around.effects), "rated_power": around.rated_power}
    header["factor"] = around.factor
    if propeller is not None:
        if around.factor is None:
            header["factor"] = propeller.factor.value
        middles, area = _disc(propeller)
        header["propeller"] = {
            "centre": propeller.centre,
            "aft": propeller.aft,
            "radius": propeller.radius,
            "efficiency": propeller.efficiency.value,
            "figure_of_merit": propeller.figure_of_merit.value,
            "rotational_speed": propeller.rotational_speed,
            "loading_fraction": propeller.loading.fraction,
            "loading_value": propeller.loading.value,
            "middles": middles,
            "areas": area,
        }
    if wing is not None:
        names = ("span", "area", "mass", "max_lift_coefficient")
        header["wing"] = {name: getattr(wing, name) for name in names}
    return header


def _disc(propeller) -> tuple[np.ndarray, np.ndarray]:
    """Radii in the middle between the steps of the loading, and shares of the disc; parts."""
    rings = np.concatenate([[0.0], propeller.loading.ring_fractions])
    return 0.5 * (rings[:-1] + rings[1:]), np.diff(rings**2)


# --- unit velocities -----------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Field:
    """One stored field: (n_panels, 3) m/s, weights (n_conditions,), further entries."""

    velocity: np.ndarray
    weights: np.ndarray
    entries: dict[str, Any]


def _part(arrays: BlockArrays, number: int, part: Part, flow: SurfaceFlow) -> dict[str, Any]:
    """Fields of conditions that share a ground, or the free air."""
    chosen, units = list(part.numbers), part.units
    speed = _speeds(part.onset.conditions, flow.reference_pressure[chosen])
    first, second = _frames(units.panels.normals[: units.surface.n_solved])
    if units.surface.mirrored:
        first, second = (np.concatenate([axis, axis * MIRROR]) for axis in (first, second))
    rows = []
    for k, field in enumerate(_fields(part)):
        along = np.stack([(field.velocity * axis).sum(axis=1) for axis in (first, second)])
        parity = _parity(along, units.surface)
        kept = along[:, : units.surface.n_solved] if parity else along
        step = _velocity_step(field, speed, np.abs(along).max())
        name = arrays.add(f"velocity {number} {k}", np.round(kept / step), "<i2")
        rows.append({"array": name, "step": step, "parity": parity, **field.entries})
    ground = units.ground
    return {"ground": None if ground is None else ground.normal, "fields": rows}


def _speeds(conditions, reference_pressure) -> np.ndarray:
    """(n,) m/s: that of the stream in flight, on the ground that of stream and slipstream."""
    density = np.array([condition.air.density for condition in conditions])
    speed = np.array([0.0 if c.on_ground else c.speed for c in conditions])
    return np.where(speed > 0.0, speed, np.sqrt(2.0 * reference_pressure / density))


def _parity(along, surface: SurfaceMesh) -> int:
    """1 or -1 where the second half follows from the first, else 0."""
    if not surface.mirrored:
        return 0
    first, second = np.split(along, 2, axis=1)
    largest = np.abs(along).max()
    for sign in (1, -1):
        if np.abs(second - sign * first).max() <= 1e-6 * largest:
            return sign
    return 0


def _velocity_step(field: _Field, speed, largest: float) -> float:
    """Step of a field: fine enough for every condition, coarse enough for two bytes."""
    used = (np.abs(field.weights) > 0.0) & (speed > 0.0)
    if not used.any():
        return max(largest / DENSE, 1e-12)
    fine = VELOCITY_STEP * float((speed[used] / np.abs(field.weights[used])).min())
    return max(fine, largest / DENSE, 1e-12)


def _fields(part: Part) -> list[_Field]:
    """Streams that can occur, sums of the slipstreams, swirl and wing."""
    onset, units = part.onset, part.units
    names, ground = units.names, units.ground
    size = np.linalg.norm(onset.streams, axis=1)
    fields = [
        _Field(units.velocity[k], size, {"kind": "stream", "axis": k})
        for k in range(len(STREAMS))
        if ground is None or abs(ground.normal[k]) < 1.0 - 1e-12
    ]
    fields += _slipstreams(part)
    for kind in ("swirl", "wing"):
        if kind in onset.names:
            weights = onset.weights[:, onset.names.index(kind)]
            fields.append(_Field(units.velocity[names.index(kind)], weights, {"kind": kind}))
    return fields


def _slipstreams(part: Part) -> list[_Field]:
    """Few fields of which every slipstream of the part is a sum.

    The profiles of the induced velocity over the disc, each over its size, weighted with the area
    of their rings, are taken apart by singular values.
    """
    onset, units = part.onset, part.units
    blowing = [(c, s) for c, s in enumerate(onset.slipstreams) if s is not None]
    if not blowing:
        return []
    middles, area = _disc(onset.propeller)
    profiles = np.array([s.induced(middles) for _, s in blowing]) * np.sqrt(area)
    sizes = np.linalg.norm(profiles, axis=1)
    names = [f"slipstream {onset.conditions[c].name}" for c, _ in blowing]
    solved = np.array([units.names.index(name) for name in names])
    real = sizes > 0.0
    if not real.any():
        return []
    left, size, right = np.linalg.svd(profiles[real] / sizes[real, None], full_matrices=False)
    fields = []
    for k in np.flatnonzero(size > PROFILE_TOLERANCE * size[0]):
        shares = left[:, k] / size[k] / sizes[real]
        velocity = np.tensordot(shares, units.velocity[solved[real]], axes=1)
        weights = np.zeros(len(onset.conditions))
        for (c, slipstream), profile in zip(blowing, profiles, strict=True):
            weights[c] = slipstream.factor * float(right[k] @ profile)
        entries = {"kind": "slipstream", "profile": right[k] * np.sqrt(area)}
        fields.append(_Field(velocity, weights, entries))
    return fields


# --- conditions and separated air ----------------------------------------------------------


_OF_CONDITION = (
    *("name", "true_airspeed", "calibrated_airspeed", "ground_speed", "wind_speed", "wind_from"),
    *("alpha", "beta", "attitude", "height", "altitude", "day", "temperature_offset"),
    *("temperature", "power", "rotational_speed", "thrust", "propeller_efficiency", "decides"),
    *("weight", "speed", "on_ground", "lift_over_weight"),
)


def _conditions(solutions: Solutions, flow: SurfaceFlow, needed) -> list[dict[str, Any]]:
    part_of = {c: k for k, part in enumerate(solutions.parts) for c in part.numbers}
    if needed is None:
        needed = [condition.needed_pressure for condition in solutions.conditions]
    rows = []
    for c, condition in enumerate(solutions.conditions):
        row = {name: getattr(condition, name) for name in _OF_CONDITION}
        row |= {"part": part_of[c], "density": condition.air.density, "needed": needed[c]}
        row |= {"stream": condition.stream, "dynamic_pressure": condition.dynamic_pressure}
        row |= {"mean_rise": flow.mean_rise[c], "predicted": flow.predicted[c]}
        rows.append(row | {"reference_pressure": flow.reference_pressure[c]})
    return rows


def _separated(arrays: BlockArrays, flow: SurfaceFlow, skin_state) -> dict[str, Any]:
    """What stays as it is while sliders move: change of pressure by separated air, states."""
    if skin_state is not None:
        arrays.add("state", skin_state, "<i1")
    largest = np.abs(flow.separation_change).max(axis=1)
    steps = np.maximum(SEPARATION_STEP * flow.reference_pressure, largest / DENSE)
    steps[largest == 0.0] = 0.0
    used = np.flatnonzero(steps)
    changes = np.round(flow.separation_change[used] / steps[used, None])
    arrays.add("separation", changes, "<i2")
    return {"conditions": used, "steps": steps[used], "has_state": skin_state is not None}


def _thickness(arrays: BlockArrays, thickness) -> dict[str, Any] | None:
    """Thickness of the layer as one byte a panel: 0 unknown, else steps of its logarithm."""
    if thickness is None:
        return None
    known = np.isfinite(thickness) & (np.nan_to_num(thickness) > 0.0)
    steps = THICKNESS_STEPS * np.log10(np.where(known, thickness, THINNEST) / THINNEST)
    codes = np.where(known, np.clip(np.round(steps), 0, 254) + 1, 0)
    arrays.add("thickness", codes, "<u1")
    return {"thinnest": THINNEST, "steps": THICKNESS_STEPS}


def _opening(opening: Opening, group, k: int) -> dict[str, Any]:
    """An opening with its pressures in all conditions, as the run has found them."""
    names = ("name", "use", "kind", "shape", "length", "width", "turn", "centre", "area", "side")
    patch, total = group.patch_pressure[:, k], group.total_pressure[:, k]
    inlet, lost = group.inlet_pressure[:, k], total - patch
    recovery = np.divide(inlet - patch, lost, out=np.zeros_like(lost), where=np.abs(lost) > 1e-9)
    return {
        **{name: getattr(opening, name) for name in names},
        "outline": opening.outline.round(5),
        "paired": opening.twin is not None,
        "patch": patch,
        "total": total,
        "inlet": inlet,
        "spread": group.pressure_spread[:, k],
        "recovery": recovery.round(6),
    }

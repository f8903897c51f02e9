"""surface.glb: the surface coloured by pressure, for any viewer of glTF 2.0.

Axes are turned as glTF wants them, y up and +z forward: x = -y, y = z, z = -x of the body, so the
nose looks along +z and the right wing along -x; metres stay metres. Vertices are split where edges
are sharp, as the values are on the maps. COLOR_0 holds the colours of the map of one condition in
linear light, in 16 bits, since 8 bits of linear light are too coarse for dark colours; the material
is unlit, so that a viewer shows them as in the legend. The pressure of every condition goes along
as attributes of the vertices: `_CP_01` and so on, `_PA_13` in Pa where Cp says nothing, on the
ground. Outlines of openings are lines, one node each with the opening's name, lifted off the skin
by LIFT so that they can be seen. What the numbers mean stands in `extras` of the scene.
"""

from __future__ import annotations

from collections.abc import Sequence
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np

from panelcp.errors import FlowError
from panelcp.flow.superposition import SurfaceFlow, interpolated_pressure
from panelcp.report import hardest
from panelcp.report.colours import PressureScale, pressure_scale
from panelcp.report.contents import AirContents, condition_number, in_pascal
from panelcp.report.exports.gltf_container import Buffer, packed
from panelcp.report.exports.skin_fields import (
    felt_pressure,
    flow_of,
    plain_name,
    shown_openings,
)
from panelcp.surface.interpolation import corner_operator
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.neighbours import corner_groups

TURN = np.array([[0.0, -1.0, 0.0], [0.0, 0.0, 1.0], [-1.0, 0.0, 0.0]])
"""Takes body axes to those of glTF."""

LIFT = 1e-3
"""m, of outlines off the skin."""

AXES = (
    "glTF x, y, z in metres are -y, z, -x of the body axes (x aft, y to the right wing, z up): "
    "y is up, the nose looks along +z, the right wing along -x"
)
_LINES, _TRIANGLES = 1, 4
_UNLIT = "KHR_materials_unlit"


def write_glb(
    source: AirContents | SurfaceFlow,
    path: str | PathLike,
    condition: str | int | None = None,
    scale: PressureScale | None = None,
):
    """Write surface.glb, coloured by one condition.

    Parameters
    ----------
    source, condition, scale : see `glb_bytes`
    path : of the file

    Raises
    ------
    FlowError : see `glb_bytes`
    """
    Path(path).write_bytes(glb_bytes(source, condition, scale))


def glb_bytes(
    source: AirContents | SurfaceFlow,
    condition: str | int | None = None,
    scale: PressureScale | None = None,
) -> bytes:
    """The surface as binary glTF 2.0, coloured by one condition.

    Parameters
    ----------
    source : RunContents or AirContents of a run, or a SurfaceFlow alone, which has no openings
    condition : name, or number from 0 on; None takes the hardest, see `hardest_condition`
    scale : of the colours; None takes that of the maps

    Returns
    -------
    bytes

    Raises
    ------
    FlowError : no such condition, or no condition in which air moves
    """
    flow = flow_of(source)
    c = (
        hardest_condition(source)
        if condition is None
        else condition_number(flow.conditions, condition)
    )
    scale = scale or map_scale(source, c)
    surface = flow.surface
    groups, first = np.unique(corner_groups(surface), return_index=True)
    pressure = interpolated_pressure(flow, corner_operator(surface)[first])
    buffer = Buffer()
    attributes = _attributes(flow, pressure)
    shown = _in_unit(flow, pressure, c)
    skin = {
        "POSITION": buffer.vertices(surface.corners.reshape(-1, 3)[first] @ TURN.T),
        "NORMAL": buffer.vertices(_vertex_normals(surface) @ TURN.T),
        "COLOR_0": buffer.vertices(colour_numbers(shown, scale), normalized=True),
        **{name: buffer.vertices(values) for name, _, values in attributes},
    }
    corners = corner_groups(surface)
    indices = buffer.indices(np.searchsorted(groups, corners))
    primitive = {"attributes": skin, "indices": indices, "material": 0, "mode": _TRIANGLES}
    outlines = _outlines(source, buffer)
    extras = _extras(source, c, scale, attributes)
    return packed(_document(primitive, outlines, extras), buffer)


def hardest_condition(source: AirContents | SurfaceFlow) -> int:
    """The condition that the file shows when none is asked for.

    Returns
    -------
    int: that of `report.hardest`; of a flow alone the first that decides, or the first, with moving
    air

    Raises
    ------
    FlowError : no air moves in any condition
    """
    flow = flow_of(source)
    moving = np.flatnonzero(flow.moving).tolist()
    if not moving:
        raise FlowError("no air moves in any of the conditions, so there is no pressure to show")
    if not isinstance(source, SurfaceFlow):
        return hardest.hardest_condition(source)
    return next((c for c in moving if flow.conditions[c].decides), moving[0])


def map_scale(source: AirContents | SurfaceFlow, c: int) -> PressureScale:
    """The scale that the map of a condition has.

    Parameters
    ----------
    source : RunContents or AirContents, or a SurfaceFlow alone, of which all of the skin is shown
    c : number of the condition

    Raises
    ------
    FlowError : no air moves in the condition
    """
    flow = flow_of(source)
    if not flow.moving[c]:
        raise FlowError(
            f"condition {flow.conditions[c].name}: no air moves, so there is no pressure to show; "
            "choose another condition"
        )
    return _scale_of_flow(flow, c) if isinstance(source, SurfaceFlow) else _scale_of_run(source, c)


def _scale_of_run(contents: AirContents, c: int) -> PressureScale:
    from panelcp.report.sheets import cut_at_station, last_station, map_scales, shown_values

    flow = contents.flow
    moving = np.flatnonzero(flow.moving)
    part = cut_at_station(flow.surface, last_station(contents))
    values = shown_values(flow, moving, part)
    return map_scales(contents, moving, values, part.surface.areas)[moving.tolist().index(c)]


def _scale_of_flow(flow: SurfaceFlow, c: int) -> PressureScale:
    pascal = in_pascal(flow.conditions[c])
    values = felt_pressure(flow)[c] / (1.0 if pascal else flow.dynamic_pressure[c])
    return pressure_scale(values, label="Pa" if pascal else "Cp")


def _in_unit(flow: SurfaceFlow, pressure: np.ndarray, c: int) -> np.ndarray:
    """Cp of a condition, or Pa where Cp says nothing."""
    condition = flow.conditions[c]
    return pressure[c] if in_pascal(condition) else pressure[c] / condition.dynamic_pressure


def _attributes(flow: SurfaceFlow, pressure) -> list[tuple[str, int, np.ndarray]]:
    """Name, condition and values at the vertices."""
    digits = max(2, len(str(len(flow.conditions))))
    found = []
    for c, condition in enumerate(flow.conditions):
        number, q = f"{c + 1:0{digits}d}", condition.dynamic_pressure
        if q > 0.0:
            found.append((f"_CP_{number}", c, pressure[c] / q))
        if in_pascal(condition):
            found.append((f"_PA_{number}", c, pressure[c]))
    return found


def _vertex_normals(surface: SurfaceMesh) -> np.ndarray:
    """(n_groups, 3) float, unit: mean of the panels of every group of corners, by area."""
    groups = corner_groups(surface)
    total = np.zeros((int(groups.max()) + 1, 3))
    np.add.at(total, groups, np.repeat(surface.area_vectors, 3, axis=0))
    return total / np.linalg.norm(total, axis=1, keepdims=True)


def scale_colours(values, scale: PressureScale) -> np.ndarray:
    """(..., 3) float: sRGB colours from 0 to 1 of values, as on the maps."""
    table = scale.colour_table
    place = (np.asarray(values) / scale.limit + 1.0) * 0.5 * len(table)
    return table[np.clip(place.astype(int), 0, len(table) - 1)]


def linear_light(colours) -> np.ndarray:
    """Linear light of sRGB colours, 0 to 1 (IEC 61966-2-1, 1999; from memory).

    Examples
    --------
    >>> linear_light([0.0, 0.5, 1.0]).round(4)
    array([0.   , 0.214, 1.   ])
    """
    colours = np.asarray(colours, dtype=float)
    return np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)


def colour_numbers(values, scale: PressureScale) -> np.ndarray:
    """(n, 4) unsigned 16-bit: linear light and full opacity."""
    linear = np.round(65535.0 * linear_light(scale_colours(values, scale)))
    return np.column_stack([linear, np.full(len(linear), 65535.0)]).astype("<u2")


def _outlines(source, buffer: Buffer) -> list[dict[str, Any]]:
    """A node and a mesh for every opening that is shown, twins apart."""
    found = []
    for opening in shown_openings(source):
        name = plain_name(opening.name)
        for one, label in ((opening, name), (opening.twin, f"{name}, twin")):
            if one is not None:
                found.append(_outline(one, label, buffer))
    return found


def _outline(opening, name: str, buffer: Buffer) -> dict[str, Any]:
    """Separate lines, two points each, which every reader knows."""
    ends = np.stack([opening.outline, np.roll(opening.outline, -1, axis=0)], axis=1)
    ends = ends.reshape(-1, 3) + LIFT * opening.normal
    style = "inlet" if opening.takes_air_in else "exit" if opening.lets_air_out else "other"
    primitive = {"attributes": {"POSITION": buffer.vertices(ends @ TURN.T)}, "mode": _LINES}
    about = {
        "use": opening.use,
        "kind": opening.kind,
        "side": opening.side,
        "area_m2": float(f"{opening.area:.7g}"),
        "centre_in_body_axes_m": [float(f"{x:.7g}") for x in opening.centre],
    }
    return {"name": name, "style": style, "primitive": primitive, "extras": about}


def _document(primitive, outlines: Sequence[dict[str, Any]], extras) -> dict[str, Any]:
    """All of the JSON but what stands in the buffer."""
    styles = sorted({outline["style"] for outline in outlines})
    nodes = [{"name": "skin", "mesh": 0}]
    meshes = [{"name": "skin", "primitives": [primitive]}]
    for outline in outlines:
        nodes.append({"name": outline["name"], "mesh": len(meshes), "extras": outline["extras"]})
        material = {"material": 1 + styles.index(outline["style"])}
        meshes.append({"name": outline["name"], "primitives": [outline["primitive"] | material]})
    roots = [0]
    if outlines:
        nodes.append({"name": "openings", "children": list(range(1, len(nodes)))})
        roots.append(len(nodes) - 1)
    return {
        "asset": {"version": "2.0", "generator": "panelcp"},
        "extensionsUsed": [_UNLIT],
        "scene": 0,
        "scenes": [{"name": "panelcp surface", "nodes": roots, "extras": extras}],
        "nodes": nodes,
        "meshes": meshes,
        "materials": [_material("pressure", (1.0, 1.0, 1.0)), *map(_style_material, styles)],
    }


def _style_material(style: str) -> dict[str, Any]:
    from panelcp.report.maps import MARKER_STYLES

    colour = MARKER_STYLES[style][0]
    srgb = [int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5)]
    return _material(f"outline of {style}", [float(f"{x:.6f}") for x in linear_light(srgb)])


def _material(name: str, colour) -> dict[str, Any]:
    """Unlit; a viewer that does not know that takes it as dull."""
    return {
        "name": name,
        "pbrMetallicRoughness": {
            "baseColorFactor": [*colour, 1.0],
            "metallicFactor": 0.0,
            "roughnessFactor": 1.0,
        },
        "extensions": {_UNLIT: {}},
    }


def _extras(source, c: int, scale: PressureScale, attributes) -> dict[str, Any]:
    """What the numbers of the file mean."""
    flow = flow_of(source)
    stops = [*scale.levels]
    hexes = (np.round(255.0 * scale_colours(stops, scale))).astype(int)
    about = {
        "about": "pressure over the surface; an estimate for study, see the report beside it",
        "axes": AXES,
        "condition_shown": plain_name(flow.conditions[c].name),
        "quantity_shown": scale.label,
        "unit_shown": "Pa" if scale.label == "Pa" else "dimensionless",
        "colour_scale": {
            "low": -scale.limit,
            "high": scale.limit,
            "values_beyond": "have the colour of the end",
            "stops": [
                [stop, "#" + "".join(f"{part:02x}" for part in colour)]
                for stop, colour in zip(stops, hexes, strict=True)
            ],
            "stops_are": "value, sRGB colour",
        },
        "colours_in_file": "COLOR_0: linear light, 16 bits",
        "outlines_lifted_off_the_skin_m": LIFT,
        "vertex_attributes": [
            {
                "attribute": name,
                "condition": plain_name(flow.conditions[k].name),
                "quantity": "gauge pressure" if name.startswith("_PA") else "pressure coefficient",
                "unit": "Pa" if name.startswith("_PA") else "dimensionless",
                "dynamic_pressure_Pa": float(f"{flow.conditions[k].dynamic_pressure:.7g}"),
            }
            for name, k, _ in attributes
        ],
    }
    if isinstance(source, SurfaceFlow):
        return about
    return {"case": source.name, "version": source.version, "inputs": source.input_hash, **about}

"""Templates of invented openings, and small readers of what is written of them."""

import re
import zlib
from functools import cache

import numpy as np

from panelcp.report.template import Template, TemplateSide
from panelcp.surface.flat_opening import flat_opening
from panelcp.surface.opening import lay_opening
from panelcp.surface.rays import SkinFinder
from panelcp.surface.skin_distance import tape_distances
from tests import bodies

POINT = 72.0 / 25.4


@cache
def skin(name):
    if name == "plate":
        return SkinFinder(bodies.box((2.0, 2.0, 0.5), (12, 12, 3)))
    return SkinFinder(bodies.ellipsoid((0.6, 0.3, 0.3), 4))


@cache
def template(body="plate", length=0.22, width=0.15, shape="rectangle", turn=0.0, both=False):
    """Template of an opening on top of a plate, or on the right of an ellipsoid."""
    place = [0.1, 0.0, 0.25] if body == "plate" else [0.05, 0.3, 0.02]
    places = [place, np.multiply(place, [1.0, -1.0, 1.0])] if both else [place]
    sides = []
    for at in places:
        opening = lay_opening(
            skin(body), "vent", at, length, width, kind="flush hole", shape=shape, turn=turn
        )
        tape = tape_distances(skin(body), opening, 0.4)
        sides.append(TemplateSide(opening, flat_opening(skin(body), opening), tape))
    return Template(
        "Größe <1> vent", "Invented", "2026-05-01", "ab" * 5, "cd" * 32, "0.1.0", tuple(sides)
    )


def pdf_pages(content: bytes) -> list[tuple[tuple[float, float], str]]:
    """Size in points and drawing operators of every page of a PDF without object streams."""
    objects = {
        int(number): body
        for number, body in re.findall(rb"(?s)\n(\d+) 0 obj\n(.*?)\nendobj", content)
    }
    pages = []
    for body in objects.values():
        if not re.search(rb"/Type /Page\b", body):
            continue
        size = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", body).groups()
        stream = objects[int(re.search(rb"/Contents (\d+) 0 R", body).group(1))]
        raw = re.search(rb"(?s)stream\r?\n(.*)\r?\nendstream", stream).group(1)
        text = zlib.decompress(raw) if b"FlateDecode" in stream else raw
        pages.append((tuple(map(float, size)), text.decode("latin-1")))
    return pages


def pdf_lines(operators: str) -> list[np.ndarray]:
    """Lines of a page in mm; none of its matrices may scale."""
    lines, points = [], []
    for a, b, word in re.findall(r"(-?[\d.]+) (-?[\d.]+) ([ml])\s", operators):
        if word == "m" and points:
            lines.append(np.array(points) / POINT)
            points = []
        points.append((float(a), float(b)))
    lines.append(np.array(points) / POINT)
    return lines


def dxf_entities(text: str) -> tuple[dict[str, str], list[dict]]:
    """Header values and entities of a DXF: kind, layer, points (n, 2), text."""
    rows = text.split("\n")
    pairs = [(int(code), value) for code, value in zip(rows[::2], rows[1::2], strict=False) if code]
    header, entities, name, inside = {}, [], None, ""
    for code, value in pairs:
        if code == 2 and value in ("HEADER", "TABLES", "ENTITIES"):
            inside = value
        elif inside == "HEADER" and code == 9:
            name = value
        elif inside == "HEADER" and name:
            header.setdefault(name, value)
        elif inside == "ENTITIES":
            _add_pair(entities, code, value)
    return header, [e for e in entities if e["kind"] in ("LINE", "POLYLINE", "TEXT")]


def _add_pair(entities, code, value):
    if code == 0 and value not in ("VERTEX", "SEQEND"):
        entities.append({"kind": value, "points": [], "vertex": False})
    elif code == 0 and value == "VERTEX":
        if not entities[-1]["vertex"]:
            entities[-1]["points"] = []
        entities[-1]["vertex"] = True
    elif code == 8:
        entities[-1]["layer"] = value
    elif code in (10, 11):
        entities[-1]["points"].append([float(value), np.nan])
    elif code in (20, 21):
        entities[-1]["points"][-1][1] = float(value)
    elif code == 1:
        entities[-1]["text"] = value

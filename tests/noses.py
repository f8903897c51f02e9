"""Invented tractor noses for checks of signs on more than one shape."""

import numpy as np
from scipy.interpolate import BSpline

from panelcp.surface.stations import StationTable, loft_stations

ROUND = np.linspace(0.0, np.pi, 33)


def random_nose(number, panel_length=0.11):
    """Nose, cabin and tail with dimensions drawn at random; the same for the same number.

    Spinner, cowl face with a rounded shoulder, cowl, windshield (base at about the firewall),
    cabin and closed tail. About 2000 panels per half at the default panel length.

    Returns
    -------
    SurfaceMesh, m, mirrored; x = 0 at the cowl face, z = 0 on the thrust line
    """
    return loft_stations(random_nose_stations(number), panel_length, finest=0.25)


def random_nose_stations(number):
    """Station table of `random_nose`."""
    draw = np.random.default_rng(number).uniform
    spinner, spinner_length = draw(0.12, 0.16), draw(0.22, 0.36)
    firewall, tail = draw(0.95, 1.3), draw(5.5, 6.9)
    front = {"half": draw(0.31, 0.39), "up": draw(0.19, 0.25), "down": draw(0.21, 0.30)}
    back = {"half": draw(0.43, 0.52), "up": draw(0.26, 0.34), "down": draw(0.44, 0.58)}
    rake, roof, exponent = np.radians(draw(32, 46)), draw(0.78, 0.95), draw(2.2, 2.7)
    depth = draw(0.06, 0.11)

    def profile(start, middle):
        """Cowl, cabin, tail: a smooth line over x from the cowl face to the tail tip."""
        forward = np.array([0.0, 0.3, 0.7, 1.0, 1.4]) * firewall
        aft = np.array([0.36, 0.5, 0.66, 0.83, 1.02]) * tail
        share = np.array([0.0, 0.35, 0.8, 1.0, 1.05, 1.05, 0.85, 0.5, 0.25, 0.12])
        values = np.append(start + share[:5] * (middle - start), share[5:] * middle)
        return _smooth_line(np.concatenate([forward, aft]), values)

    body = {name: profile(front[name], back[name]) for name in front}
    base = firewall * draw(1.02, 1.12)
    top = base + (roof - back["up"]) / np.tan(rake)
    canopy = _canopy(base, top, np.tan(rake), back["up"], roof, tail)

    def section(x):
        outline = _superellipse(body["half"](x), body["down"](x), body["up"](x), exponent)
        if base - 0.25 < x < 0.68 * tail and canopy(x) > 0.05:
            cabin = _superellipse(0.87 * body["half"](x), 0.05, canopy(x), 2.2)
            outline = (outline**12 + cabin**12) ** (1 / 12)
        return outline

    places, outlines = _front(spinner, spinner_length, depth, section(depth))
    cabin = [
        base - 0.1,
        base,
        base + 0.1,
        base + 0.3,
        0.5 * (base + 0.2 + top),
        top - 0.1,
        top + 0.3,
        top + 1.0,
    ]
    aft = np.array([0.55, 0.68, 0.82, 0.94]) * tail
    for x in [0.3 * firewall, 0.7 * firewall, *cabin, *aft[aft > top + 1.3]]:
        places.append(x)
        outlines.append(section(x))
    places.append(tail)
    outlines.append(np.zeros(1))
    sections = [_points(x, outline) for x, outline in zip(places, outlines, strict=True)]
    edges = [x == 0.0 for x in places]
    return StationTable([f"{x:.3f}" for x in places], sections, edges=edges)


def _canopy(base, top, slope, deck, roof, tail):
    """Height of windshield, roof and rear deck over x; below the deck ahead of the base."""
    lines = [
        [base - 0.6, deck - 0.6 * slope],
        [base - 0.3, deck - 0.3 * slope],
        [base, deck],
        [base + 0.3, deck + 0.3 * slope],
        [top - 0.1, 0.96 * roof],
        [top + 0.25, 1.02 * roof],
        [top + 0.9, 0.96 * roof],
        [0.62 * tail, 0.45 * roof],
        [tail, 0.05],
    ]
    return _smooth_line(*np.transpose(lines))


def _front(radius, length, depth, behind):
    """Places and outlines of spinner and cowl face, up to the section `behind` at x = depth."""
    places, outlines = [-length], [np.zeros(1)]
    for share in (0.05, 0.25, 0.6):
        places.append(-length * (1 - share))
        outlines.append(np.full(len(ROUND), radius * (1 - (1 - share) ** 1.8) ** 0.625))
    for share, fill in ((0.0, 0.0), (0.12, 0.3), (0.25, 0.6), (0.45, 0.85), (1.0, 0.98)):
        places.append(share * depth)
        outlines.append(radius + fill * (behind - radius))
    return places, outlines


def _superellipse(half, down, up, exponent):
    """Radius over ROUND, which runs from straight down to straight up."""
    height = np.where(np.cos(ROUND) > 0, down, up)
    across = np.abs(np.sin(ROUND) / half) ** exponent + np.abs(np.cos(ROUND) / height) ** exponent
    return across ** (-1 / exponent)


def _smooth_line(places, values):
    """Cubic B-spline graph over increasing places with these control points."""
    n = len(places)
    knots = np.concatenate([np.zeros(3), np.linspace(0, 1, n - 2), np.ones(3)])
    line = BSpline(knots, np.column_stack([places, values]), 3)(np.linspace(0, 1, 2000))
    return lambda x: float(np.interp(x, line[:, 0], line[:, 1]))


def _points(x, radius):
    if len(radius) == 1:
        return np.array([[x, 0.0, 0.0]])
    points = np.column_stack([np.full(len(ROUND), x), np.sin(ROUND), -np.cos(ROUND)])
    points[:, 1:] *= radius[:, None]
    points[[0, -1], 1] = 0.0
    return points

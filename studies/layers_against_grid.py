"""How much do separation and pockets depend on the number of panels?

Question: the angle at which the laminar layer separates on a sphere, and the stations at which the
turbulent layer separates and comes back ahead of the windshield of an invented nose, with the
pressure of its pocket, on three or four panellings.
Method: lines over the skin as the program follows them, through every panel in a belt of the
sphere (60 to 90 deg from the stagnation point) and through the panels ahead of the windshield; the
medians over these lines. Order: from the errors of two sizes on the sphere. The nose has no exact
values and its changes no steady sign, so that the greatest difference of three sizes is told.
Known answer: the sphere's exact speed 1.5 V sin gives, along the exact meridian and with the same
march (Thwaites), the laminar angle near 103.6 deg; for the nose there is none, its values should
settle.
Command: python studies/layers_against_grid.py
"""

import numpy as np

from panelcp.flow.boundary_layer import boundary_layers
from panelcp.flow.pocket_edges import pocket_edges
from panelcp.flow.skin_layers import POCKET, skin_layers
from panelcp.flow.skin_lines import LineTracer
from panelcp.flow.solutions import solve
from panelcp.flow.streamlines import skin_velocity
from panelcp.onset.conditions import FlightCondition
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.stations import StationTable, loft_stations

# so slow that the layer stays laminar up to separation
SLOW = FlightCondition("slow", true_airspeed=0.5)
FAST = FlightCondition("fast", true_airspeed=40.0)
DIVISIONS = (8, 16, 32, 48)
LENGTHS = (0.14, 0.10, 0.07, 0.05)  # m, of panels
BELT = np.radians([60.0, 90.0])
# invented: station, half width, height above and below the thrust line, m
SECTIONS = (
    (0.00, 0.20, 0.18, 0.20),
    (0.12, 0.36, 0.28, 0.33),
    (0.50, 0.44, 0.32, 0.42),
    (1.00, 0.47, 0.35, 0.48),
    (1.20, 0.48, 0.38, 0.49),
    (1.35, 0.49, 0.50, 0.50),
    (1.65, 0.49, 0.75, 0.50),
    (1.95, 0.49, 0.87, 0.50),
    (2.60, 0.46, 0.86, 0.46),
    (4.00, 0.28, 0.42, 0.26),
    (5.60, 0.08, 0.15, 0.06),
)
TURN = np.linspace(0.0, np.pi, 33)


def sphere(divisions):
    """Sphere of radius 1 m: an octahedron whose edges are divided so often; 8 n^2 panels."""
    n = divisions
    points, triangles = [], []
    for signs in np.array(np.meshgrid([1, -1], [1, -1], [1, -1])).reshape(3, -1).T:
        index = {}
        for i in range(n + 1):
            for j in range(n + 1 - i):
                index[i, j] = len(points)
                # equal angles along the edges
                place = np.tan(np.pi / 4.0 * np.array([i, j, n - i - j]) / n)
                points.append(signs * place / np.linalg.norm(place))
        for i in range(n):
            for j in range(n - i):
                faces = [(index[i, j], index[i + 1, j], index[i, j + 1])]
                if i + j < n - 1:
                    faces += [(index[i + 1, j], index[i + 1, j + 1], index[i, j + 1])]
                triangles += [face if signs.prod() > 0 else face[::-1] for face in faces]
    unique, place = np.unique(np.round(points, 10) + 0.0, axis=0, return_inverse=True)
    return SurfaceMesh(unique, place.ravel()[np.array(triangles)])


def nose(length):
    """Invented nose with a windshield, panels of about a given length."""
    sections, names = [np.array([[-0.02, 0.0, 0.0]])], ["tip"]
    for x, half, up, down in SECTIONS:
        height = np.where(np.cos(TURN) > 0.0, down, up)
        across = np.abs(np.sin(TURN) / half) ** 2.4 + np.abs(np.cos(TURN) / height) ** 2.4
        radius = across ** (-1.0 / 2.4)
        points = np.column_stack([np.full(33, x), radius * np.sin(TURN), -radius * np.cos(TURN)])
        points[[0, -1], 1] = 0.0
        sections.append(points)
        names.append(f"{x:.2f}")
    sections.append(np.array([[6.0, 0.0, 0.05]]))
    table = StationTable([*names, "tail"], sections, edges=[False] * (len(names) + 1))
    return loft_stations(table, length, finest=0.25)


def exact_angle():
    """rad, laminar separation on the exact meridian."""
    angle = np.linspace(1e-3, np.pi - 0.01, 20000)[None]
    sine = np.sin(angle)
    viscosity = SLOW.air.viscosity / SLOW.air.density
    return float(boundary_layers(angle, 0.75 * sine, sine, viscosity).transition[0])


def sphere_angle(divisions):
    """Number of panels; median and spread (10 to 90 %) of the laminar angle, rad."""
    flow = solve(sphere(divisions), [SLOW])
    surface = flow.surface
    angle = np.arccos(-surface.centroids[:, 0] / np.linalg.norm(surface.centroids, axis=1))
    panels = np.flatnonzero((angle > BELT[0]) & (angle < BELT[1]))
    lines = LineTracer(surface).through(skin_velocity(surface, flow.velocity[0]), panels)
    layers = lines.layers(SLOW.air.viscosity / SLOW.air.density, False)
    own = lines.distance[np.arange(len(panels)), lines.here]
    found = angle[panels] + layers.transition - own
    low, middle, high = np.quantile(found, [0.1, 0.5, 0.9])
    return surface.n_panels, middle, high - low


def windshield(length):
    """Number of panels; stations of H 1.8 and 2.4, length of the pocket (m), Cp of its plateau."""
    flow = solve(nose(length), [FAST])
    (edges,) = pocket_edges(flow, [True])
    x, y, z = flow.surface.centroids.T
    near = (np.abs(y) < 0.1) & (flow.surface.normals[:, 2] > 0.2) & (z > 0.1)
    panels = np.flatnonzero(near & (x > 0.9) & (x < 1.8))
    layers = skin_layers(flow, panels, [True])
    plateau = layers.plateau[0, layers.state[0] == POCKET] / flow.dynamic_pressure[0]
    middle = np.median(plateau) if len(plateau) else np.nan
    size = edges.reattached_station - edges.separated_station
    return flow.surface.n_panels, edges.warned_station, edges.separated_station, size, middle


def main(quick=False):
    """Print both tables; return the numbers."""
    divisions, lengths = (DIVISIONS[:2], LENGTHS[:2]) if quick else (DIVISIONS, LENGTHS)
    exact, numbers = np.degrees(exact_angle()), {}
    numbers["exact angle"] = float(exact)
    print(f"laminar separation on a sphere, exact meridian {exact:.2f} deg")
    print("  panels   median   error   10 to 90 % of the lines   order")
    before = None
    for n in divisions:
        panels, middle, spread = sphere_angle(n)
        error = abs(np.degrees(middle) - exact)
        text = "" if before is None else f"{np.log(before[1] / error) / np.log(n / before[0]):8.2f}"
        before = (n, error)
        numbers[f"angle error {n}"] = float(error)
        middle, spread = np.degrees([middle, spread])
        print(f"  {panels:6} {middle:8.2f} {error:7.2f} {spread:12.2f}   {text}")
    print("windshield of an invented nose, 40 m/s, turbulent from the nose")
    print("  panels   STA of H 1.8   of H 2.4   length of the pocket, mm   Cp of its plateau")
    rows = []
    for length in lengths:
        panels, *values = windshield(length)
        rows.append(values)
        numbers[f"separated {length}"] = float(values[1])
        numbers[f"plateau {length}"] = float(values[3])
        warned, separated, size = (1e3 * value for value in values[:3])
        print(f"  {panels:6} {warned:12.0f} {separated:10.0f} {size:18.0f} {values[3]:24.3f}")
    spread = np.ptp(np.array(rows)[-3:], axis=0)
    print(
        "  greatest difference of the last {} sizes: {:.0f} mm, {:.0f} mm, {:.0f} mm, Cp {:.3f}; "
        "not steady, so no order".format(len(rows[-3:]), *(1e3 * spread[:3]), spread[3])
    )
    numbers["separated spread"] = float(spread[1])
    return numbers


if __name__ == "__main__":
    main()

"""Do the pressures on the cowl care how the body goes on behind?

Question: a builder's surface ends behind the cabin, or already at the firewall. Closed by our
faired afterbody, does Cp on the cowl depend on its length, and how near is it to Cp with the true
fuselage behind?
Method: the lofted glider tug (invented) is cut off at a station and closed by an afterbody of the
default length and of 1.5 times that. Panels ahead of the cut are the same in all, so Cp is compared
panel by panel: alpha 0 and 6, beta 0 and 8 deg.
Known answer: none; wanted is a change by less than 0.01 on the cowl from 1.0 to 1.5 times. Cut off
at the firewall the windshield is missing, which presses on the cowl: no afterbody replaces it.
Command: python studies/afterbody_length.py
"""

import time
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree

from panelcp.flow.superposition import superpose
from panelcp.onset.conditions import FlightCondition
from panelcp.panels.solving import solve_units
from panelcp.surface.afterbody import with_afterbody
from panelcp.surface.mesh import mirrored_whole
from panelcp.surface.scanning import split_at, without_unused
from panelcp.surface.stations import loft_stations, read_stations

TABLE = Path(__file__).parent.parent / "geometries" / "glider_tug" / "stations.csv"
CUTS = {"behind the cabin": 2.65, "top of the cabin": 2.25, "firewall": 1.15}  # m
PANEL = 0.06  # m
SNAP = 0.2  # of a panel: vertices nearer to the cut are put onto it
REGIONS = {
    "spinner": (-1.0, 0.0),
    "front face": (0.0, 0.09),
    "cowl": (0.09, 1.10),
    "windshield": (1.10, 1.85),
}
CONDITIONS = [
    FlightCondition(f"alpha {alpha} beta {beta}", true_airspeed=35.0, alpha=alpha, beta=beta)
    for alpha in (0.0, 6.0)
    for beta in (0.0, 8.0)
]


def cut_off(vertices, triangles, station, snap):
    """The half ahead of a station."""
    vertices = vertices.copy()
    vertices[np.abs(vertices[:, 0] - station) < snap, 0] = station
    vertices, triangles, side = split_at(vertices, triangles, station - vertices[:, 0])
    return without_unused(vertices, triangles[side > 0])


def pressures(surface):
    """Cp, (n_conditions, n_panels)."""
    return superpose(solve_units(surface), CONDITIONS).cp


def differences(name, first, second, stations):
    """Print and return max and rms of Cp differences by region."""
    numbers = {}
    for region, (low, high) in REGIONS.items():
        inside = (stations > low) & (stations < high)
        if not inside.any():
            continue
        change = (first - second)[:, inside]
        worst = np.abs(change).max(axis=1)
        rms = np.sqrt(np.mean(change**2, axis=1))
        print(
            f"    {region:12} max {worst.max():.4f} rms {rms.max():.4f}; max by condition",
            worst.round(4),
        )
        numbers |= {f"{name} {region} max": worst.max(), f"{name} {region} rms": rms.max()}
    return {key: float(value) for key, value in numbers.items()}


def main(quick=False):
    """Print the tables; return the differences of Cp."""
    panel = 0.12 if quick else PANEL
    full = loft_stations(read_stations(TABLE), panel)
    half = without_unused(full.vertices, full.triangles[: full.n_solved])
    true_cp, tree = pressures(full), cKDTree(full.centroids)
    numbers = {}
    for place, station in list(CUTS.items())[: 1 if quick else None]:
        open_body = cut_off(*half, station, SNAP * panel)
        vertices, triangles, notes = with_afterbody(*open_body)
        length = vertices[:, 0].max() - station
        print(f"cut at STA {station * 1e3:.0f}, {place}", *notes, sep="\n  ")
        start = time.perf_counter()
        first = mirrored_whole(vertices, triangles)
        second = mirrored_whole(*with_afterbody(*open_body, length=1.5 * length)[:2])
        cp = [pressures(surface) for surface in (first, second)]
        # the first half of the panels only: the others are their mirror images, in the same order
        own = np.arange(len(open_body[1]))
        own = np.concatenate([own, own + first.n_solved])
        other = np.where(own < first.n_solved, own, own - first.n_solved + second.n_solved)
        stations = first.centroids[own, 0]
        print("  1.5 against 1.0 lengths")
        numbers |= differences(f"{place} longer", cp[1][:, other], cp[0][:, own], stations)
        away, index = tree.query(first.centroids[own])
        same = away < 1e-9
        print("  afterbody against the true fuselage")
        numbers |= differences(
            f"{place} true", cp[0][:, own[same]], true_cp[:, index[same]], stations[same]
        )
        print(f"  {time.perf_counter() - start:.1f} s")
    return numbers


if __name__ == "__main__":
    main()

"""The shapes that ship: what their folders say is what their files hold."""

import importlib.util
from ast import literal_eval
from pathlib import Path

import numpy as np
import pytest
from scipy.special import elliprd

from panelcp.surface.formats import load_triangles
from panelcp.surface.intake import read_surface
from panelcp.surface.interpolation import corner_operator, point_operator
from panelcp.surface.stations import loft_stations, read_stations
from tests.noses import random_nose

GEOMETRIES = Path(__file__).resolve().parent.parent / "geometries"
TUG, PLAIN = GEOMETRIES / "glider_tug", GEOMETRIES / "ellipsoid"


def script(folder):
    spec = importlib.util.spec_from_file_location(folder.name, folder / "make_surface.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def least_angles(surface):
    corners = surface.corners
    along, back = np.roll(corners, -1, 1) - corners, np.roll(corners, 1, 1) - corners
    cosine = (along * back).sum(-1) / np.linalg.norm(along, axis=-1) / np.linalg.norm(back, axis=-1)
    return np.degrees(np.arccos(cosine)).min(axis=1)


def edge_lengths(corners):
    return np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=-1)


def section(surface, x):
    """Half-breadth, lowest and highest point of the surface at station x, m."""
    corners = surface.corners
    ends = np.stack([corners, np.roll(corners, -1, axis=1)], axis=2).reshape(-1, 2, 3)
    a, b = ends[:, 0], ends[:, 1]
    cut = (a[:, 0] - x) * (b[:, 0] - x) < 0
    share = ((x - a[cut, 0]) / (b[cut, 0] - a[cut, 0]))[:, None]
    points = a[cut] + share * (b[cut] - a[cut])
    return points[:, 1].max(), points[:, 2].min(), points[:, 2].max()


@pytest.fixture(scope="module")
def tug():
    return read_surface(TUG / "cowl.stl", "mm")


@pytest.fixture(scope="module")
def loft():
    return loft_stations(read_stations(TUG / "stations.csv"), script(TUG).PANEL_LENGTH)


def test_tug_file_is_made_by_its_script(tmp_path):
    """Same triangles; to 0.001 mm, since other processors may round differently."""
    script(TUG).main(tmp_path / "cowl.stl")
    made, _ = load_triangles(tmp_path / "cowl.stl")
    shipped, _ = load_triangles(TUG / "cowl.stl")
    np.testing.assert_allclose(made, shipped, atol=1e-3)


def test_tug_file_is_a_half_with_the_usual_faults():
    vertices, triangles = load_triangles(TUG / "cowl.stl")
    corners = vertices[triangles]
    assert (TUG / "cowl.stl").stat().st_size == 84 + 50 * len(triangles)
    assert 4000 <= len(triangles) <= 5000
    assert edge_lengths(corners).min() > 8.0
    near_plane = np.abs(corners[:, :, 1]) < 1.0
    assert np.ptp(corners[:, :, 1][near_plane]) > 0.05
    assert np.abs(corners[:, :, 1][near_plane]).max() <= 0.0501
    assert corners[:, :, 1].min() >= -0.0501


def test_tug_crack_is_between_a_tenth_and_three_tenths_of_a_millimetre(tug):
    slit = read_surface(TUG / "cowl.stl", "mm", crack_tolerance=1e-4)
    assert slit.n_panels > tug.n_panels
    assert any("1 hole filled with 6 triangles" in note for note in slit.notes)
    closed = read_surface(TUG / "cowl.stl", "mm", crack_tolerance=3e-4)
    assert closed.n_panels == tug.n_panels
    assert any("crack closed" in note and "0.2 mm" in note for note in closed.notes)


def test_tug_closes_to_the_loft(tug, loft):
    assert (tug.edge_neighbours >= 0).all()
    assert tug.mirrored
    assert tug.n_panels == loft.n_panels
    np.testing.assert_allclose(tug.corners, loft.corners, atol=0.2e-3)  # half the crack, scatter
    assert tug.volume == pytest.approx(3.573, abs=0.001)


def test_tug_panels_have_good_shape(tug):
    angles = least_angles(tug)
    assert angles.min() > 15
    assert np.mean(angles > 25) > 0.98


def test_tug_panels_are_finest_at_face_and_windshield_base_and_coarsest_aft(tug):
    x, size = tug.centroids[:, 0], np.sqrt(tug.areas)
    mean = {
        "face": size[(x > 0) & (x < 0.06)].mean(),
        "cowl": size[(x > 0.4) & (x < 0.9)].mean(),
        "base": size[(x > 1.22) & (x < 1.28)].mean(),
        "aft": size[(x > 4) & (x < 5.5)].mean(),
    }
    assert mean["face"] < 0.6 * mean["cowl"]
    assert mean["base"] < 0.7 * mean["cowl"]
    assert mean["aft"] > 1.4 * mean["cowl"]


@pytest.mark.parametrize(
    ("x", "width", "height"), [(0.09, 0.720, 0.506), (1.15, 0.955, 0.851)], ids=["face", "firewall"]
)
def test_tug_dimensions(tug, x, width, height):
    """Those of the README, to the millimetre or two by which flat panels cut corners."""
    half, low, high = section(tug, x)
    assert 2 * half == pytest.approx(width, abs=0.003)
    assert high - low == pytest.approx(height, abs=0.003)


def test_tug_lengths(tug):
    np.testing.assert_allclose(tug.bounds[:, 0], [-0.33, 6.7], atol=1e-4)
    assert tug.bounds[1, 2] == pytest.approx(0.867, abs=0.002)
    spinner = tug.vertices[tug.vertices[:, 0] <= 1e-6]
    assert np.hypot(spinner[:, 1], spinner[:, 2]).max() == pytest.approx(0.138, abs=1e-4)
    tip = tug.vertices[tug.vertices[:, 0].argmax()]
    np.testing.assert_allclose(tip, [6.7, 0.0, 0.25], atol=1e-4)


def test_tug_cheek_inlets_face_forward(tug):
    y, z = np.abs(tug.centroids[:, 1:]).T
    place = (np.abs(y - 0.225) < 0.085) & (z < 0.055) & (tug.centroids[:, 0] < 0.12)
    assert place.sum() > 60
    assert tug.normals[place, 0].max() < -0.9


def test_tug_windshield_rises_at_forty_degrees(tug):
    top = tug.vertices[(tug.vertices[:, 1] == 0) & (tug.vertices[:, 2] > 0.2)]
    top = top[np.argsort(top[:, 0])]
    glass = top[(top[:, 0] > 1.32) & (top[:, 0] < 1.7)]
    slope = np.degrees(np.arctan(np.polyfit(glass[:, 0], glass[:, 2], 1)[0]))
    assert slope == pytest.approx(40, abs=2)
    cowl = top[(top[:, 0] > 0.3) & (top[:, 0] < 1.15)]
    assert 0 < np.degrees(np.arctan(np.polyfit(cowl[:, 0], cowl[:, 2], 1)[0])) < 5


def test_plain_body_lies_on_the_ellipsoid():
    """Volume of the flat triangles below the exact pi by less than half a percent."""
    body = read_surface(PLAIN / "ellipsoid.obj", "m")
    assert body.n_panels == 5120
    level = np.linalg.norm(body.vertices / [1.5, 1.0, 0.5], axis=1)
    np.testing.assert_allclose(level, 1.0, atol=3e-7)
    assert 0.995 * np.pi < body.volume < np.pi


def test_exact_values_of_the_plain_body_readme():
    """H. Lamb, Hydrodynamics, 6th ed., Arts. 111-115, with Carlson's R_D for the integrals."""
    a, b, c = axes = np.array([1.5, 1.0, 0.5])
    squares = [(b, c, a), (c, a, b), (a, b, c)]
    factors = np.array([2 / 3 * a * b * c * elliprd(p * p, q * q, r * r) for p, q, r in squares])
    alpha, beta = np.radians([8.0, 5.0])
    stream = [np.cos(alpha) * np.cos(beta), -np.sin(beta), np.sin(alpha) * np.cos(beta)]
    constant = 2 * np.array(stream) / (2 - factors)
    text = (PLAIN / "README.md").read_text(encoding="utf-8")
    rows = [line.split("|")[1:4] for line in text.splitlines() if line.startswith("| (")]
    assert len(rows) == 7
    for place, cp, velocity in rows:
        point, shown = (
            np.array(literal_eval(part.split(")")[0] + ")")) for part in (place, velocity)
        )
        normal = point / axes**2
        normal /= np.linalg.norm(normal)
        exact = constant - (constant @ normal) * normal
        np.testing.assert_allclose(shown, exact, atol=2e-6)
        assert float(cp) == pytest.approx(1 - exact @ exact, abs=2e-6)
    lowest = 1 - constant @ constant
    assert f"lowest Cp anywhere is {lowest:.6f}" in " ".join(text.split())
    stop = axes**2 * constant / np.linalg.norm(axes * constant)
    assert f"+-({stop[0]:.6f}, {stop[1]:.6f}, {stop[2]:.6f})" in text


def test_plain_body_is_made_by_its_script(tmp_path):
    script(PLAIN).main(tmp_path / "ellipsoid.obj")
    made, triangles = load_triangles(tmp_path / "ellipsoid.obj")
    shipped, shipped_triangles = load_triangles(PLAIN / "ellipsoid.obj")
    np.testing.assert_allclose(made, shipped, atol=2e-7)
    np.testing.assert_array_equal(triangles, shipped_triangles)


@pytest.mark.parametrize("number", range(3))
def test_random_noses_are_sound(number):
    nose = random_nose(number)
    assert (nose.edge_neighbours >= 0).all()
    assert nose.mirrored
    assert nose.volume > 1.5
    assert 1500 <= nose.n_solved <= 2600
    assert least_angles(nose).min() > 15


def test_random_noses_repeat_and_differ():
    first, again, other = random_nose(1), random_nose(1), random_nose(2)
    np.testing.assert_array_equal(first.vertices, again.vertices)
    assert first.volume != other.volume


def test_geometries_are_small_data():
    assert not (GEOMETRIES / "__init__.py").exists()
    files = [
        path for path in GEOMETRIES.rglob("*") if path.is_file() and "results" not in path.parts
    ]
    assert sum(path.stat().st_size for path in files) < 1_000_000
    for folder in (TUG, PLAIN):
        assert "invented" in (folder / "README.md").read_text(encoding="utf-8").lower()


def test_values_of_the_tug_are_nowhere_carried_up_between_panels(tug):
    """At the centre line control points lie on two lines, where a quadratic is not held."""
    share = np.random.default_rng(1).dirichlet(np.ones(3), tug.n_panels)
    points = np.einsum("nk,nki->ni", share, tug.corners)
    operator = point_operator(tug, points, np.arange(tug.n_panels))
    assert abs(operator).sum(axis=1).max() < 6.0
    assert abs(corner_operator(tug)).sum(axis=1).max() < 4.0
    assert operator.sum(axis=1) == pytest.approx(np.ones(tug.n_panels))

"""Roughness of a mesh: none on clean ones, in proportion to the scatter of a scan."""

import numpy as np
import pytest

from panelcp.panels.solving import solve_units
from panelcp.surface.curved import roughness, roughness_band
from panelcp.surface.mesh import SurfaceMesh
from tests import bodies


def scattered(level, amount):
    """Sphere whose vertices are off the skin by up to `amount` of an edge."""
    vertices, triangles = bodies.icosphere(level)
    edge = np.linalg.norm(np.diff(vertices[triangles[:, :2]], axis=1), axis=2).mean()
    draw = np.random.default_rng(8).uniform(-1.0, 1.0, (len(vertices), 1))
    return SurfaceMesh(vertices * (1.0 + amount * edge * draw), triangles)


def test_roughness_of_a_clean_mesh_falls_with_the_fourth_power_of_the_spacing():
    coarse, fine = (np.median(roughness(scattered(level, 0.0))) for level in (3, 4))
    assert fine < coarse / 6.0
    assert coarse < 1e-3


def test_roughness_is_proportional_to_the_scatter():
    small, large = (np.median(roughness(scattered(4, amount))) for amount in (0.01, 0.03))
    assert large == pytest.approx(3.0 * small, rel=0.02)


@pytest.mark.parametrize("amount", [0.002, 0.01, 0.03])
def test_band_is_the_error_of_cp_that_the_scatter_makes(amount):
    rough = scattered(4, amount)
    units = solve_units(rough)
    place = units.panels.points / np.linalg.norm(units.panels.points, axis=1, keepdims=True)
    exact = 1.0 - 2.25 * (1.0 - place[:, 0] ** 2)
    error = 1.0 - (units.velocity[0] ** 2).sum(axis=1) - exact
    band = np.sqrt((roughness_band(rough) ** 2).mean())
    assert band == pytest.approx(error.std(), rel=0.25)


def test_a_rough_patch_is_found_where_it_is():
    vertices, triangles = bodies.icosphere(4)
    draw = np.random.default_rng(8).uniform(-1.0, 1.0, (len(vertices), 1))
    patch = vertices[:, :1] > 0.6
    rough = SurfaceMesh(vertices * (1.0 + 0.03 * 0.07 * draw * patch), triangles)
    band = roughness_band(rough)
    inside = rough.centroids[:, 0] > 0.75
    assert band[inside].mean() > 0.03
    assert np.median(band[rough.centroids[:, 0] < 0.4]) < 0.002


def test_too_few_neighbours_give_no_roughness():
    corner = SurfaceMesh(
        [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]
    )
    assert roughness(corner) == pytest.approx(np.zeros(4))

"""The coarser panelling: closed, outward, about half the panels, vertices of the finer one."""

import numpy as np
import pytest

from panelcp.surface.checking import check_surface, least_angles
from panelcp.surface.coarsening import LEAST_ANGLE, coarsened
from panelcp.surface.mesh import SurfaceMesh
from tests import bodies
from tests.noses import random_nose


@pytest.mark.parametrize(
    "body",
    [
        SurfaceMesh(*bodies.icosphere(3)),
        bodies.mirrored_ellipsoid((3.0, 2.0, 1.0), 3),
        random_nose(5),
    ],
    ids=["sphere", "mirrored ellipsoid", "nose"],
)
def test_about_half_the_panels_on_the_same_skin(body):
    rough = coarsened(body)
    check_surface(rough)
    assert 0.45 < rough.n_panels / body.n_panels < 0.7
    assert rough.mirrored == body.mirrored
    known = {tuple(vertex) for vertex in body.vertices}
    assert all(tuple(vertex) in known for vertex in rough.vertices)
    assert rough.volume == pytest.approx(body.volume, rel=0.04)
    assert least_angles(rough).min() >= min(LEAST_ANGLE, least_angles(body).min()) - 1e-9


def test_sharp_edges_and_the_centre_line_stay():
    box = bodies.box((1.0, 1.0, 1.0), (8, 8, 8))
    assert coarsened(box).volume == pytest.approx(box.volume, rel=1e-12)
    nose = random_nose(5)
    rough = coarsened(nose)
    for surface in (nose, rough):
        assert np.count_nonzero(surface.vertices[:, 1] == 0.0) == np.count_nonzero(
            nose.vertices[:, 1] == 0.0
        )

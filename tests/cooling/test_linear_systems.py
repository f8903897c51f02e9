"""Systems of many worlds are solved."""

import numpy as np
import pytest

from panelcp.cooling.linear_systems import dominant_solution, symmetric_solution


@pytest.mark.parametrize("worlds", [1, 7, 60])
def test_systems_of_many_worlds_are_solved(worlds):
    draw = np.random.default_rng(worlds)
    part = draw.standard_normal((5, 5, worlds))
    right = draw.standard_normal((5, worlds))
    even = np.einsum("ikw,jkw->ijw", part, part)
    heavy = part + 6.0 * np.eye(5)[:, :, None]
    for matrix, solution in ((even, symmetric_solution), (heavy, dominant_solution)):
        found = solution(matrix.copy(), right)
        np.testing.assert_allclose(np.einsum("ijw,jw->iw", matrix, found), right, atol=1e-9)

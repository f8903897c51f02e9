"""Iterative solution of several right sides against direct solutions."""

import numpy as np
import pytest

from panelcp.panels.krylov import solve_rows


def systems(n_rows, n=40, spread=0.3):
    """Matrices (n_rows, n, n), one for each row, near one half of the identity; right sides."""
    random = np.random.default_rng(4)
    matrices = 0.5 * np.eye(n) + spread * random.normal(size=(n_rows, n, n)) / np.sqrt(n)
    return matrices, random.normal(size=(n_rows, n))


def residuals(matrices, solution, rows):
    return np.linalg.norm(np.einsum("uij,uj->ui", matrices, solution) - rows, axis=1)


@pytest.mark.parametrize("tolerance", [1e-2, 1e-6, 1e-11])
def test_residual_of_all_rows_is_as_wanted(tolerance):
    matrices, rows = systems(3)
    rows[1] *= 1e3
    solution, steps = solve_rows(
        lambda x: np.einsum("uij,uj->ui", matrices, x), rows, tolerance, 40
    )
    left = np.linalg.norm(residuals(matrices, solution, rows)) / np.linalg.norm(rows)
    assert left <= tolerance * (1.0 + 1e-6) + 1e-14
    # one step less is not enough
    before, _ = solve_rows(
        lambda x: np.einsum("uij,uj->ui", matrices, x), rows, tolerance, steps - 1
    )
    assert np.linalg.norm(residuals(matrices, before, rows)) > tolerance * np.linalg.norm(rows)


def test_residual_is_the_least_of_the_krylov_space():
    # by the normal equations in the plain basis b, Ab, A2b, A3b
    (matrix,), (row,) = systems(1)
    powers = [row]
    for _ in range(3):
        powers.append(matrix @ powers[-1])
    plain = np.array(powers).T
    best = plain @ np.linalg.lstsq(matrix @ plain, row, rcond=None)[0]
    found, steps = solve_rows(lambda x: x @ matrix.T, row[None], 0.0, 4)
    assert steps == 4
    assert found[0] == pytest.approx(best, abs=1e-10 * np.abs(best).max())


def test_after_as_many_steps_as_unknowns_the_solution_is_exact():
    (matrix,), (row,) = systems(1, n=12, spread=3.0)
    found, steps = solve_rows(lambda x: x @ matrix.T, row[None], 1e-12, 100)
    assert steps <= 12
    assert found[0] == pytest.approx(np.linalg.solve(matrix, row), rel=1e-9, abs=1e-9)


def test_rows_do_not_meet():
    matrices, rows = systems(4)
    together, _ = solve_rows(lambda x: np.einsum("uij,uj->ui", matrices, x), rows, 0.0, 7)
    for u in range(4):
        alone, _ = solve_rows(lambda x, u=u: x @ matrices[u].T, rows[u : u + 1], 0.0, 7)
        assert together[u] == pytest.approx(alone[0], abs=1e-12 * np.abs(alone).max())


def test_rows_that_are_done_wait_for_the_others():
    # nothing, an eigenvector (done after one step), and a row that takes many
    (matrix,), (row,) = systems(1)
    matrix[:, 0] = 0.0
    matrix[0, 0] = 2.0
    rows = np.array([np.zeros(40), 6.0 * np.eye(40)[0], row])
    found, steps = solve_rows(lambda x: x @ matrix.T, rows, 1e-10, 40)
    assert steps > 5
    assert (found[0] == 0.0).all()
    assert found[1] == pytest.approx(3.0 * np.eye(40)[0], abs=1e-14)
    assert found[2] == pytest.approx(np.linalg.solve(matrix, row), abs=1e-8)


def test_no_step_where_nothing_is_asked():
    found, steps = solve_rows(lambda x: 1.0 / 0.0, np.zeros((2, 5)), 1e-6, 10)
    assert steps == 0
    assert (found == 0.0).all()


def test_an_operator_without_numbers_ends_at_once():
    found, steps = solve_rows(lambda x: np.full(x.shape, np.nan), np.ones((2, 5)), 1e-6, 10)
    assert steps == 1
    assert np.isnan(found).all()

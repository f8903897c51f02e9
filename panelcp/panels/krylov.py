"""Iterative solution of linear systems that share one operator."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np


def solve_rows(
    operator: Callable[[np.ndarray], np.ndarray], rows, tolerance: float, max_steps: int
) -> tuple[np.ndarray, int]:
    """Solve operator(x) = rows for several right sides at once, each row on its own.

    Parameters
    ----------
    operator : linear, takes and gives (n_rows, n) float; no row depends on another
    rows : (n_rows, n) float, right sides
    tolerance : of the rms residual of all rows together, parts of the rms of `rows`
    max_steps : applications of the operator; what is found by then is returned

    Returns
    -------
    solution (n_rows, n), number of steps; not finite where the operator is not

    Notes
    -----
    GMRES without restart from zero, modified Gram-Schmidt, one Krylov space for each row (Y. Saad,
    M. H. Schultz, GMRES, SIAM J. Sci. Stat. Comput. 7 (1986) 856-869, from memory). The sums are
    einsum, not the linear algebra library: its waiting threads would slow down the operator.

    Examples
    --------
    >>> solution, steps = solve_rows(lambda x: 2.0 * x, np.array([[2.0, 4.0]]), 1e-9, 10)
    >>> solution, steps
    (array([[1., 2.]]), 1)
    """
    rows = np.asarray(rows, dtype=float)
    size = _norms(rows)
    wanted = tolerance * np.sqrt(_total(size))
    basis = [_over(rows, size)]
    columns = np.zeros((len(rows), max_steps + 1, max_steps))
    parts, left, steps = np.zeros((len(rows), 0)), size, 0
    while steps < max_steps and not np.sqrt(_total(left)) <= wanted:
        new = np.array(operator(basis[-1]), dtype=float)
        for k, known in enumerate(basis):
            columns[:, k, steps] = np.einsum("un,un->u", known, new)
            new -= columns[:, k, steps, None] * known
        rest = _norms(new)
        columns[:, steps + 1, steps] = rest
        basis.append(_over(new, rest))
        steps += 1
        if not np.isfinite(rest).all():
            return np.full(rows.shape, np.nan), steps
        parts, left = _least_squares(columns[:, : steps + 1, :steps], size)
    solution = np.zeros(rows.shape)
    for k in range(steps):
        solution += parts[:, k, None] * basis[k]
    return solution, steps


def _least_squares(columns, size) -> tuple[np.ndarray, np.ndarray]:
    """Coefficients (n_rows, k) and residuals (n_rows,) from the projections (n_rows, k + 1, k)."""
    parts, left = np.zeros((len(size), columns.shape[2])), np.zeros(len(size))
    for u in range(len(size)):
        right = np.zeros(columns.shape[1])
        right[0] = size[u]
        parts[u] = np.linalg.lstsq(columns[u], right, rcond=None)[0]
        left[u] = np.sqrt(_total(right - (columns[u] * parts[u]).sum(axis=1)))
    return parts, left


def _total(values) -> float:
    return float((values * values).sum())


def _norms(rows) -> np.ndarray:
    return np.sqrt(np.einsum("un,un->u", rows, rows))


def _over(rows, size) -> np.ndarray:
    """Rows of unit length; zero where there is nothing."""
    return rows / np.where(size == 0.0, 1.0, size)[:, None]

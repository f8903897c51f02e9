"""Small systems of linear equations, one for each of many worlds, the last axis."""

from __future__ import annotations

import numpy as np

FEW = 32


def symmetric_solution(matrix, right):
    """Solution of positive definite systems by elimination; reads the upper triangle, spoils it."""
    n, found = len(right), right.copy()
    for k in range(n - 1):
        share = matrix[k, k + 1 :] / matrix[k, k]
        for j in range(k + 1, n):
            matrix[j, j:] -= share[j - k - 1] * matrix[k, j:]
        found[k + 1 :] -= share * found[k]
        matrix[k, k + 1 :] = share
        found[k] /= matrix[k, k]
    found[n - 1] /= matrix[n - 1, n - 1]
    for k in range(n - 2, -1, -1):
        found[k] -= np.sum(matrix[k, k + 1 :] * found[k + 1 :], axis=0)
    return found


def dominant_solution(matrix, right):
    """Solution of systems whose diagonal outweighs the rest of every row; spoils the matrix."""
    n, found = len(right), right.copy()
    for k in range(n):
        matrix[k, k + 1 :] /= matrix[k, k]
        found[k] /= matrix[k, k]
        for j in range(k + 1, n):
            factor = matrix[j, k]
            if factor.any():
                matrix[j, k + 1 :] -= factor * matrix[k, k + 1 :]
                found[j] -= factor * found[k]
    for k in range(n - 2, -1, -1):
        found[k] -= np.sum(matrix[k, k + 1 :] * found[k + 1 :], axis=0)
    return found


def linear_solution(matrix, right):
    """Solution of any systems, (n, n, n_worlds) and (n, n_worlds)."""
    if len(right) == 1:
        return right / matrix[0]
    return np.linalg.solve(matrix.transpose(2, 0, 1), right.T[:, :, None])[:, :, 0].T

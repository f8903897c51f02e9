"""Exact potential flows that the tests compare with.

Ellipsoids: H. Lamb, Hydrodynamics, 6th ed., 1932, Arts. 111-115. Rankine ovoid: source and sink
in a stream, e.g. L. M. Milne-Thomson, Theoretical Hydrodynamics, 5th ed., 1968, ch. XVI (both from
memory; test_exact.py holds them against limits and independent integrals).
"""

import numpy as np
from scipy.optimize import brentq
from scipy.special import elliprd

SPHERE = (1.0, 1.0, 1.0)


def stream(alpha, beta):
    """Unit stream at alpha and beta, deg: x aft, y right, z up; beta > 0 is wind from the right."""
    a, b = np.radians([alpha, beta])
    return np.array([np.cos(a) * np.cos(b), -np.sin(b), np.sin(a) * np.cos(b)])


def alphas(axes):
    """alpha_1 = abc integral dl / ((a^2 + l) sqrt((a^2 + l)(b^2 + l)(c^2 + l))), and cyclic."""
    a, b, c = np.square(axes)
    factor = 2.0 / 3.0 * np.prod(axes)
    return factor * np.array([elliprd(b, c, a), elliprd(c, a, b), elliprd(a, b, c)])


def interior_velocity(axes, freestream):
    """Constant velocity V inside the source layer; the surface potential is V.x."""
    return 2.0 * np.asarray(freestream) / (2.0 - alphas(axes))


def ellipsoid_normal(axes, points):
    """Outward unit normals at points on the ellipsoid."""
    normal = np.asarray(points) / np.square(axes)
    return normal / np.linalg.norm(normal, axis=-1, keepdims=True)


def ellipsoid_velocity(axes, freestream, points):
    """Surface velocity V - (V.n) n."""
    inner, normal = interior_velocity(axes, freestream), ellipsoid_normal(axes, points)
    return inner - (normal @ inner)[..., None] * normal


def ellipsoid_cp(axes, freestream, points):
    """Pressure coefficient 1 - |q|^2 / U^2 on the surface."""
    velocity = ellipsoid_velocity(axes, freestream, points)
    return 1.0 - (velocity**2).sum(axis=-1) / np.dot(freestream, freestream)


def ellipsoid_source(axes, freestream, points):
    """Source density -V.n that solves the flow past the ellipsoid."""
    return -ellipsoid_normal(axes, points) @ interior_velocity(axes, freestream)


def onto_ellipsoid(axes, points):
    """Nearest point of the ellipsoid to first order: two steps along the gradient."""
    points = np.array(points)
    for _ in range(3):
        gradient = 2.0 * points / np.square(axes)
        excess = (np.square(points) / np.square(axes)).sum(axis=-1, keepdims=True) - 1.0
        points -= excess * gradient / (gradient**2).sum(axis=-1, keepdims=True)
    return points


class RankineOvoid:
    """Source at x = -1 and sink at x = +1 in a unit stream along x; strength m = pi K."""

    def __init__(self, strength):
        self.strength = strength
        self.half_length = brentq(
            lambda x: (x * x - 1.0) ** 2 - strength * x, 1.0, 10.0 + strength, xtol=1e-15
        )
        self.max_radius = brentq(
            lambda h: h * h * np.sqrt(h * h + 1.0) - strength, 0.0, 10.0 + strength, xtol=1e-15
        )

    def stream_function(self, x, radius):
        """Stokes stream function; zero on the surface."""
        forward, aft = np.hypot(x + 1.0, radius), np.hypot(x - 1.0, radius)
        return 0.5 * radius**2 - 0.25 * self.strength * ((x + 1.0) / forward - (x - 1.0) / aft)

    def radius(self, x):
        """Radius of the surface at one station."""
        if abs(x) >= self.half_length:
            return 0.0
        low = 1e-4 * self.max_radius
        return brentq(lambda y: self.stream_function(x, y), low, 1.5 * self.max_radius, xtol=1e-15)

    def velocity(self, x, radius):
        """Axial and radial velocity."""
        factor = 0.25 * self.strength
        forward, aft = np.hypot(x + 1.0, radius) ** 3, np.hypot(x - 1.0, radius) ** 3
        axial = 1.0 + factor * ((x + 1.0) / forward - (x - 1.0) / aft)
        return axial, factor * (radius / forward - radius / aft)

    def cp(self, x, radius):
        """Pressure coefficient in the axial stream."""
        axial, radial = self.velocity(x, radius)
        return 1.0 - axial**2 - radial**2

    def onto_surface(self, x, radius):
        """Foot points on the surface, three steps along the gradient of the stream function."""
        for _ in range(3):
            axial, radial = self.velocity(x, radius)
            # d psi/d radius = radius * axial, d psi/d x = -radius * radial
            step = self.stream_function(x, radius) / (radius * (axial**2 + radial**2))
            x, radius = x + step * radial, radius - step * axial
        return x, radius

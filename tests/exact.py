"""Exact potential flows that the tests compare with.

Ellipsoids: H. Lamb, Hydrodynamics, 6th ed., 1932, Arts. 111-115. Rankine ovoid: source and sink
in a stream, e.g. L. M. Milne-Thomson, Theoretical Hydrodynamics, 5th ed., 1968, ch. XVI (both from
memory; test_exact.py holds them against limits and independent integrals). Spheres with company,
with sources and with air through the skin: spherical harmonics and images, derived here.
"""

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import ellipe, ellipk, elliprd, gammaln

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


def ellipsoid_exterior(axes, freestream, points):
    """Velocity outside the ellipsoid: U + grad of sum A_i x_i alpha_i(l), A_i = U_i/(2 - alpha_i).

    l is the greatest root of sum x_i^2/(a_i^2 + l) = 1, the confocal ellipsoid through the point.
    """
    points, square = np.asarray(points, dtype=float), np.square(axes)
    confocal = _confocal(square, points)
    wide = square + confocal[:, None]
    a, b, c = wide.T
    factor = 2.0 / 3.0 * np.prod(axes)
    alpha = factor * np.stack([elliprd(b, c, a), elliprd(c, a, b), elliprd(a, b, c)], axis=1)
    amount = np.asarray(freestream) / (2.0 - alphas(axes))
    slope = -np.prod(axes) / (wide * np.sqrt(wide.prod(axis=1, keepdims=True)))
    turn = 2.0 * points / wide / (points**2 / wide**2).sum(axis=1, keepdims=True)
    along = (points * amount * slope).sum(axis=1, keepdims=True)
    return freestream + amount * alpha + turn * along


def _confocal(square, points):
    """Newton steps from the left of the root: the sum is convex and falls there."""
    root = np.zeros(len(points))
    for _ in range(60):
        wide = square + root[:, None]
        excess = (points**2 / wide).sum(axis=1) - 1.0
        root = np.maximum(root + excess / (points**2 / wide**2).sum(axis=1), 0.0)
    return root


def legendre(cosine, n_terms):
    """P_n and d P_n/d theta for n = 0 to n_terms - 1, (n_terms, n_points)."""
    cosine = np.asarray(cosine, dtype=float)
    sine = np.sqrt(1.0 - cosine**2)
    values, slopes = [np.ones_like(cosine), cosine], [np.zeros_like(cosine), -sine]
    for n in range(2, n_terms):
        values.append(((2 * n - 1) * cosine * values[-1] - (n - 1) * values[-2]) / n)
        slopes.append(slopes[-2] - (2 * n - 1) * sine * values[-2])
    return np.array(values), np.array(slopes)


def tandem_velocity(distance, cosine, n_images=200):
    """u_theta on the first of two unit spheres in a unit stream along their line of centres.

    theta from the direction of the stream, in which the second sphere lies. The dipoles of Hicks:
    the image of a dipole mu at distance f from a unit sphere is -mu/f^3 at 1/f from its centre.
    """
    cosine = np.asarray(cosine, dtype=float)
    sine = np.sqrt(1.0 - cosine**2)
    across, along = np.zeros_like(cosine), np.ones_like(cosine)
    for start in (0.0, distance):
        dipole, place, centre = 0.5, start, start
        for _ in range(n_images):
            arm = cosine - place
            reach = sine**2 + arm**2
            along = along + dipole * (reach - 3.0 * arm**2) / reach**2.5
            across = across - 3.0 * dipole * arm * sine / reach**2.5
            centre = distance - centre
            gap = place - centre
            dipole, place = -dipole / abs(gap) ** 3, centre + 1.0 / gap
    return across * cosine - along * sine


def abreast_amplitudes(distance, cosine, n_terms=60):
    """A and B on one of two unit spheres side by side: u_theta = A cos psi, u_psi = B sin psi.

    Unit stream across the line of centres; theta from the direction to the other sphere, psi from
    the stream. Also the sphere beside a wall at half the distance. Multipoles of order one about
    both centres, sum over n of a_n P_n^1(cos theta)/r^(n+1) cos psi with P_1^1 = sin theta.
    """
    n = np.arange(1, n_terms + 1)
    k, q = n[:, None], n[None, :]
    shift = np.exp(
        gammaln(q + k + 1) - gammaln(k + 2) - gammaln(q) - (q + k + 1) * np.log(distance)
    )
    ratio = n / (n + 1.0)
    stream_part = np.zeros(n_terms)
    stream_part[0] = 1.0
    amount = np.linalg.solve(np.eye(n_terms) - ratio[:, None] * shift, ratio * stream_part)
    total = amount + shift @ amount + stream_part
    values, slopes = legendre(cosine, n_terms + 1)
    sine = np.sqrt(1.0 - np.square(cosine))
    # P_n^1 without the sign (-1)^m is -dP_n/dtheta; its own slope from Legendre's equation
    first = -slopes[1:]
    second = (n * (n + 1.0))[:, None] * values[1:] - first * np.asarray(cosine) / sine
    return total @ second, -(total @ first) / sine


def sphere_beside_source(distance, cosine, n_terms=400):
    """u_theta on the unit sphere from a source of velocity 1/R^2 at `distance` on the axis.

    theta from the direction to the source; each harmonic of the source is joined by its image,
    n/(n + 1) of it.
    """
    n = np.arange(n_terms)
    amount = -(distance ** -(n + 1.0)) * (2.0 * n + 1.0) / (n + 1.0)
    return amount @ legendre(cosine, n_terms)[1]


def sphere_in_ring(radius, place, cosine, n_terms=400):
    """u_theta on the unit sphere from a coaxial vortex ring of unit circulation.

    `radius` of the ring, `place` of its plane on the axis; +1/(2 radius) at the ring's centre.
    """
    reach = np.hypot(radius, place)
    polar = np.array([place / reach])
    n = np.arange(1, n_terms)
    slope = -legendre(polar, n_terms)[1][1:, 0] / np.sqrt(1.0 - polar**2)
    amount = radius**2 / (2.0 * reach**3) * slope / (n * reach ** (n - 1.0))
    return (amount * (2.0 * n + 1.0) / (n + 1.0)) @ legendre(cosine, n_terms)[1][1:]


def ring_velocity(radius, place, points):
    """Velocity of that ring about the z axis at points, (n, 3), by complete elliptic integrals."""
    points = np.asarray(points, dtype=float)
    rho, z = np.hypot(points[:, 0], points[:, 1]), points[:, 2] - place
    wide, near = (radius + rho) ** 2 + z**2, (radius - rho) ** 2 + z**2
    first, second = ellipk(4.0 * radius * rho / wide), ellipe(4.0 * radius * rho / wide)
    factor = 1.0 / (2.0 * np.pi * np.sqrt(wide))
    along = factor * (first + (radius**2 - rho**2 - z**2) / near * second)
    safe = np.maximum(rho, 1e-300)
    out = factor * z / safe * (-first + (radius**2 + rho**2 + z**2) / near * second)
    return np.stack([out * points[:, 0] / safe, out * points[:, 1] / safe, along], axis=1)


def sphere_with_flow(harmonics, cosine):
    """v_n and u_theta on the unit sphere for v_n = sum of harmonics[n] P_n(cos theta)."""
    n = np.arange(len(harmonics))
    values, slopes = legendre(cosine, max(2, len(harmonics)))
    return harmonics @ values[: len(n)], -(harmonics / (n + 1.0)) @ slopes[: len(n)]


def sphere_with_cap(half_angle, angles):
    """u_theta on the unit sphere from v_n = 1 on a cap about theta = 0, half angle in rad.

    The surface potential is -integral of v_n G, G = [1/sin(g/2) - ln(1 + 1/sin(g/2))]/(4 pi), g
    the angle between both points; its slope is an integral along the rim.
    """

    def rim(azimuth, angle):
        cosine = np.cos(angle) * np.cos(half_angle)
        cosine += np.sin(angle) * np.sin(half_angle) * np.cos(azimuth)
        part = 1.0 / np.sqrt(0.5 * (1.0 - cosine))
        return (part - np.log1p(part)) / (4.0 * np.pi) * np.cos(azimuth) * np.sin(half_angle)

    return np.array([2.0 * quad(rim, 0.0, np.pi, args=(angle,))[0] for angle in angles])


def cylinder_by_rings(radius, axial, distance):
    """Axial and radial velocity of a semi-infinite vortex cylinder: its rings, summed.

    The sheet of unit strength runs from axial = 0 to infinity; a ring at s acts at axial - s.
    """

    def part(s, component):
        return ring_velocity(radius, s, [[distance, 0.0, axial]])[0, component]

    ends = sorted({0.0, max(axial, 0.0), max(axial, 0.0) + 0.05, max(axial, 0.0) + 10.0})
    if axial > 0.05:
        ends.insert(1, axial - 0.05)
    pieces = [*zip(ends, [*ends[1:], np.inf], strict=True)]
    return np.array(
        [
            sum(
                quad(part, a, b, args=(component,), epsabs=1e-11, epsrel=1e-11, limit=400)[0]
                for a, b in pieces
            )
            for component in (2, 0)
        ]
    )


def jacobian(field, points, step=1e-4):
    """(n, 3, 3) d V_i / d x_j of a field of points (n, 3) by central differences."""
    columns = [
        (field(points + step * axis) - field(points - step * axis)) / (2.0 * step)
        for axis in np.eye(3)
    ]
    return np.stack(columns, axis=2)


def divergence(field, points, step=1e-4):
    """(n,) divergence by central differences."""
    return np.trace(jacobian(field, points, step), axis1=1, axis2=2)


def curl(field, points, step=1e-4):
    """(n, 3) curl by central differences."""
    slope = jacobian(field, points, step)
    return np.stack(
        [
            slope[:, 2, 1] - slope[:, 1, 2],
            slope[:, 0, 2] - slope[:, 2, 0],
            slope[:, 1, 0] - slope[:, 0, 1],
        ],
        axis=1,
    )


def sphere_in_slipstream(radius, start, cosine, n_points=80):
    """u_theta on the unit sphere from a coaxial vortex cylinder of unit strength.

    It runs from z = `start` towards +z without end, round the sphere; theta from +z. Its rings
    are summed by the rule of Gauss and Legendre in t, z = start + (1 + t)/(1 - t).
    """
    nodes, weights = np.polynomial.legendre.leggauss(n_points)
    places = start + (1.0 + nodes) / (1.0 - nodes)
    weights = weights * 2.0 / (1.0 - nodes) ** 2
    total = np.zeros(len(cosine))
    for place, weight in zip(places, weights, strict=True):
        # the harmonics fall as the sphere's radius over the distance to the ring
        n_terms = int(40.0 / np.log(np.hypot(radius, place))) + 3
        total += weight * sphere_in_ring(radius, place, cosine, n_terms)
    return total

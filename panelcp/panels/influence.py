"""Velocity that source density on panels induces at points."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import numpy as np

from panelcp.errors import PanelcpError
from panelcp.panels.farfield import FarField, build_tree
from panelcp.surface.curved import CurvedPanels, curved_panels
from panelcp.surface.mesh import SurfaceMesh

FAR_LIMIT = 8.0
"""Beyond this many panel sizes (root of the area) a panel acts as a point source."""

DIVISIONS = 4
"""A near patch is divided at most this many times; what is still near is taken as flat."""

FINE_DIVISIONS = 8
"""As DIVISIONS, for points that may lie close to the skin."""

BLOCKS = 32
"""Blocks of rows of the near field, each with work space of the size of the surface."""

ROUGH_TOLERANCE = 4e-4
"""Tolerance of the far field in inner iterations."""

TOLERANCE = 1e-4
"""Tolerance of the far field, parts of the rms of the induced velocity."""


def require_numba():
    """Say clearly that the compiler package is missing, where it is."""
    if find_spec("numba") is None:
        raise PanelcpError(
            "the compiler package numba is not installed for this Python; panelcp needs it. Use a "
            "Python version for which numba has a ready-made package (3.11 to 3.15 at the time of "
            "this release) and install again"
        )


def is_compiled() -> bool:
    """True where the inner loops were compiled by an earlier run and are kept on disk."""
    require_numba()
    from panelcp.panels.near_kernels import fill_near

    if not hasattr(fill_near, "stats"):
        return True
    folder = fill_near.stats.cache_path
    return folder is not None and any(Path(folder).glob("near_kernels.fill_near-*.nbi"))


def triangle_velocity(points, corners) -> np.ndarray:
    """Velocity from unit source density on one flat triangle, exact.

    Parameters
    ----------
    points : (n, 3) float, m
    corners : (3, 3) float, m, counter-clockwise seen from the outside

    Returns
    -------
    (n, 3) float, m/s per m/s of density; principal value on the panel itself, to which the
    outside adds half the normal

    Notes
    -----
    u = (1/4 pi) integral of (x - y)/|x - y|^3 over the triangle. See the kernel for sources.

    Examples
    --------
    >>> corners = np.array([[0.0, 0, 0], [1, 0, 0], [0.3, 0.8, 0]])
    >>> 4 * np.pi * triangle_velocity(np.array([[0.0, 0.0, 1.0]]), corners)
    array([[-0.10641697, -0.06790338,  0.27001206]])
    """
    require_numba()
    from panelcp.panels._kernels import triangle_velocity as kernel

    corners = np.asarray(corners, dtype=float)
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    normal /= np.linalg.norm(normal)
    return np.array([kernel(*point, corners, normal) for point in np.asarray(points, float)])


class InducedVelocity:
    """Velocity at fixed points from any density on fixed panels.

    The near field is a sparse matrix: curved panels with linear density, less their point
    sources. The far field is the sum of all point sources.

    Parameters
    ----------
    panels : CurvedPanels
    points : (n_points, 3) float, m
    own : (n_points,) int, the panel whose control point the point is, -1 for none
    tolerance : of the far field; None sums it directly
    divisions : how often a near patch may be divided
    """

    def __init__(
        self,
        panels: CurvedPanels,
        points,
        own=None,
        tolerance: float | None = TOLERANCE,
        divisions: int = DIVISIONS,
    ):
        require_numba()
        self.panels = panels
        self.points = np.array(points, dtype=float, order="C")
        own = np.full(len(self.points), -1) if own is None else own
        self.own = np.array(own, dtype=np.int64)
        self.near = near_field(panels, self.points, self.own, divisions)
        self._far = FarField(self.points, panels.centroids, self.own, tolerance)

    @property
    def near_entries(self) -> int:
        """Number of entries of the near field."""
        return len(self.near[1])

    def far_error(self, strengths, count: int = 50) -> tuple[float, float]:
        """Error of the far field against direct sums, parts of its rms; the worst unit's.

        Looked at are `count` points drawn with a fixed seed, and as many whose panels are the
        smallest: where a skin is finely divided, the tree errs most.

        Returns
        -------
        rms over the points drawn, and the greatest over all looked at; zeros where the far field
        is summed directly anyway
        """
        if self._far.direct:
            return 0.0, 0.0
        draw = np.random.default_rng(20250)
        drawn = draw.choice(len(self.points), min(count, len(self.points)), replace=False)
        finest = np.argsort(self.panels.areas[self.own], kind="stable")[:count]
        chosen = np.concatenate([drawn, finest])
        charges = np.atleast_2d(strengths) * self.panels.areas
        tree = np.zeros((len(self.points), 3, len(charges)))
        self._far.apply(charges, tree)
        exact = np.zeros((len(chosen), 3, len(charges)))
        sources = self.panels.centroids
        FarField(self.points[chosen], sources, self.own[chosen], None).apply(charges, exact)
        error = ((tree[chosen] - exact) ** 2).sum(axis=1)
        size = np.maximum((exact[: len(drawn)] ** 2).sum(axis=1).mean(axis=0), 1e-300)
        rms = np.sqrt((error[: len(drawn)].mean(axis=0) / size).max())
        return float(rms), float(np.sqrt((error / size).max()))

    def apply(self, strengths) -> np.ndarray:
        """(n_units, n_points, 3) m/s from densities (n_units, n_panels), m/s; without jumps."""
        from panelcp.panels.near_kernels import add_near

        strengths = np.atleast_2d(np.asarray(strengths, dtype=float))
        velocity = np.zeros((len(self.points), 3, len(strengths)))
        self._far.apply(strengths * self.panels.areas, velocity)
        add_near(*self.near, np.array(strengths.T, order="C"), velocity)
        return np.ascontiguousarray(np.moveaxis(velocity, 2, 0))


class RoughNormalVelocity:
    """Normal velocity in single precision with a rough far field: cheap, for inner iterations.

    Parameters
    ----------
    operator : InducedVelocity that it stands for
    normals : (n_points, 3) float, unit
    """

    def __init__(self, operator: InducedVelocity, normals):
        from panelcp.panels.near_kernels import normal_part

        self._normals = np.array(normals, order="C")
        self._areas = operator.panels.areas
        starts, columns, values = operator.near
        along = normal_part(starts, values, self._normals)
        self._near = (starts, columns.astype(np.int32), along)
        self._far = FarField(
            operator.points,
            operator.panels.centroids,
            operator.own,
            ROUGH_TOLERANCE,
            precision=np.float32,
        )

    def apply(self, strengths) -> np.ndarray:
        """(n_units, n_points) m/s from densities (n_units, n_panels), m/s; without jumps."""
        from panelcp.panels.near_kernels import add_near_normal

        normal = np.zeros((len(self._normals), len(strengths)))
        self._far.apply_normal(strengths * self._areas, self._normals, normal)
        add_near_normal(*self._near, np.array(strengths.T, dtype=np.float32, order="C"), normal)
        return normal.T


def induced_velocity(
    surface: SurfaceMesh | CurvedPanels, source_strength, points=None
) -> np.ndarray:
    """Velocity at points from densities on all panels of a surface.

    Parameters
    ----------
    surface : SurfaceMesh, or the CurvedPanels of a solution (with openings their stencils differ)
    source_strength : (n_units, n_panels) float, m/s, at the control points, both halves
    points : (n_points, 3) float, m, anywhere, also close to the skin; the outer side of the
        control points when not given

    Returns
    -------
    (n_units, n_points, 3) float, m/s
    """
    panels = surface if isinstance(surface, CurvedPanels) else curved_panels(surface)
    strengths = np.atleast_2d(np.asarray(source_strength, dtype=float))
    if points is not None:
        operator = InducedVelocity(panels, points, tolerance=None, divisions=FINE_DIVISIONS)
        return operator.apply(strengths)
    own = np.arange(len(panels.areas))
    velocity = InducedVelocity(panels, panels.points, own).apply(strengths)
    return velocity + 0.5 * strengths[:, :, None] * panels.normals


def near_field(panels: CurvedPanels, points, own, divisions: int):
    """Rows of the near field: starts, columns and (n_entries, 3) velocities.

    Parameters
    ----------
    panels : CurvedPanels
    points : (n_points, 3) float, m
    own : (n_points,) int, see `InducedVelocity`
    divisions : how often a near patch may be divided

    Returns
    -------
    starts (n_points + 1,), columns (n_entries,), values (n_entries, 3)
    """
    from panelcp.panels import near_kernels as kernels

    tree = build_tree(panels.centroids, panels.areas)
    box = (tree.start, tree.end, tree.first_child, tree.n_children, tree.centre)
    box = (*box, tree.radius, tree.largest)
    shape = (panels.centroids, panels.areas, panels.neighbours)
    counts = kernels.count_near(points, FAR_LIMIT, box, tree.order, *shape, BLOCKS)
    starts = np.concatenate([[0], np.cumsum(counts)])
    columns = np.empty(starts[-1], dtype=np.int64)
    values = np.empty((starts[-1], 3))
    sources = kernels.point_rules(panels.coefficients, panels.points, *shape, panels.stencil)
    everything = (panels.coefficients, panels.points, panels.normals, *shape, panels.stencil)
    kernels.fill_near(
        *(points, own, FAR_LIMIT, box, tree.order, everything, sources, divisions, _rules()),
        *((starts, columns), values, BLOCKS),
    )
    return starts, columns, values


def _rules() -> tuple[np.ndarray, ...]:
    """Gauss points and weights on [0, 1], along an edge and outward from the middle."""
    from panelcp.panels.near_kernels import POINTS_ALONG, POINTS_OUT

    rules = []
    for count in (POINTS_ALONG, POINTS_OUT):
        nodes, weights = np.polynomial.legendre.leggauss(count)
        rules += [0.5 * (nodes + 1.0), 0.5 * weights]
    return tuple(rules)

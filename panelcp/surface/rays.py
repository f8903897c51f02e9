"""Where straight lines and single points meet the skin."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from panelcp.surface.mesh import SurfaceMesh


class SkinFinder:
    """Nearest points and parallel rays on one surface.

    Attributes
    ----------
    surface : SurfaceMesh

    Examples
    --------
    >>> corner = SurfaceMesh(
    ...     [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]],
    ...     [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]],
    ... )
    >>> point, panel, distance = SkinFinder(corner).nearest([0.2, 0.2, -0.5])
    >>> (point.round(9) + 0.0).tolist(), int(panel), float(distance)
    ([0.2, 0.2, 0.0], 0, 0.5)
    """

    def __init__(self, surface: SurfaceMesh):
        self.surface = surface
        self._tree = cKDTree(surface.centroids)
        reach = np.linalg.norm(surface.corners - surface.centroids[:, None], axis=2)
        self._reach = float(reach.max())

    def near(self, point, radius: float) -> np.ndarray:
        """(k,) int: panels of which some part may lie within `radius` of the point."""
        return np.array(self._tree.query_ball_point(point, radius + self._reach), dtype=np.int64)

    def nearest(self, point) -> tuple[np.ndarray, int, float]:
        """Nearest point of the skin to a point: position (3,) m, panel, distance m."""
        from trimesh.triangles import closest_point

        point = np.asarray(point, dtype=float)
        panels = np.sort(self.near(point, self._tree.query(point)[0]))
        feet = closest_point(self.surface.corners[panels], np.tile(point, (len(panels), 1)))
        distances = np.linalg.norm(feet - point, axis=1)
        best = int(np.argmin(distances))
        return feet[best], int(panels[best]), float(distances[best])

    def hits(self, origins, direction, panels=None) -> tuple[np.ndarray, np.ndarray]:
        """Where parallel rays enter the skin from outside, nearest to their origins.

        Parameters
        ----------
        origins : (n, 3) float, m
        direction : (3,) float, unit
        panels : (k,) int, the panels to look at; all when not given

        Returns
        -------
        panel : (n,) int, -1 where there is no hit
        points : (n, 3) float, m, nan where there is no hit
        """
        from panelcp.surface._kernels import parallel_hits

        origins = np.array(origins, dtype=float, order="C")
        direction = np.array(direction, dtype=float)
        # always copies, so that the compiled loop meets one kind of array only
        chosen = np.arange(self.surface.n_panels) if panels is None else panels
        corners, normals = self.surface.corners[chosen], self.surface.normals[chosen]
        panel, distance = parallel_hits(origins, direction, corners, normals)
        found = panel >= 0
        points = np.full(origins.shape, np.nan)
        points[found] = origins[found] + distance[found, None] * direction
        panel[found] = chosen[panel[found]]
        return panel, points

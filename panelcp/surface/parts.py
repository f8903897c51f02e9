"""One named piece of a mesh file."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.surface.mesh import frozen_array


@dataclass(frozen=True, eq=False)
class Part:
    """A named piece as the file has it: nothing merged, nothing changed.

    Attributes
    ----------
    name : of the solid, object or group; never empty
    vertices : (n, 3) float, in the axes and unit of the file
    triangles : (m, 3) int, vertex indices
    unit : length unit that the file states ("m", "mm", ...), or None
    """

    name: str
    vertices: np.ndarray
    triangles: np.ndarray
    unit: str | None = None

    def __post_init__(self):
        object.__setattr__(self, "vertices", frozen_array(self.vertices))
        object.__setattr__(self, "triangles", frozen_array(self.triangles, np.int64))

    @property
    def bounds(self) -> np.ndarray:
        """(2, 3) float: least and greatest coordinates of the corners in use."""
        used = self.vertices[np.unique(self.triangles)]
        return np.array([used.min(axis=0), used.max(axis=0)])


def joined_parts(parts) -> tuple[np.ndarray, np.ndarray]:
    """All parts as one set of triangles.

    Parameters
    ----------
    parts : sequence of Part, at least one

    Returns
    -------
    vertices : (n, 3) float
    triangles : (m, 3) int
    """
    starts = np.cumsum([0, *(len(part.vertices) for part in parts)])
    vertices = np.concatenate([part.vertices for part in parts])
    moved = [part.triangles + start for part, start in zip(parts, starts, strict=False)]
    return vertices, np.concatenate(moved)


def compact_part(name: str, vertices, triangles, unit: str | None = None) -> Part:
    """Part that keeps only the vertices that its triangles use."""
    triangles = np.asarray(triangles)
    used = np.zeros(len(vertices), dtype=bool)
    used[triangles.ravel()] = True
    if used.all():
        return Part(name, vertices, triangles, unit)
    return Part(name, vertices[used], (np.cumsum(used) - 1)[triangles], unit)


def require_known_vertices(n_vertices: int, triangles, n_triangles: int | None = None):
    """Refuse triangles that name points which are not there.

    Parameters
    ----------
    n_vertices : number of points
    triangles : (m, k) int
    n_triangles : number that the message names, m when not given
    """
    triangles = np.asarray(triangles)
    wrong = ((triangles < 0) | (triangles >= n_vertices)).any(axis=1)
    if wrong.any():
        raise SurfaceError(
            f"{np.count_nonzero(wrong)} of {n_triangles or len(triangles)} triangles name points "
            f"that the file does not have (first: triangle {np.flatnonzero(wrong)[0]}; there are "
            f"{n_vertices} points). The file is damaged; export it again"
        )


def unique_names(names) -> list[str]:
    """The names, each once: a second "door" becomes "door (2)"; empty ones "part".

    Examples
    --------
    >>> unique_names(["door", "", "door"])
    ['door', 'part', 'door (2)']
    """
    found, seen = [], set()
    for name in names:
        base = " ".join(str(name).split())[:80] or "part"
        chosen, number = base, 1
        while chosen in seen:
            number += 1
            chosen = f"{base} ({number})"
        seen.add(chosen)
        found.append(chosen)
    return found

"""Write ellipsoid.obj: a sphere of 5120 nearly equal triangles, stretched to an ellipsoid.

python make_surface.py
"""

from pathlib import Path

import numpy as np

FOLDER = Path(__file__).resolve().parent
SEMI_AXES = np.array([1.5, 1.0, 0.5])  # m, along x, y, z
DIVISIONS = 4  # each turns one triangle into four


def main(path=FOLDER / "ellipsoid.obj"):
    """Write the surface to `path`; give its vertices (m) and triangles."""
    import trimesh

    sphere = trimesh.creation.icosphere(subdivisions=DIVISIONS)
    directions = sphere.vertices / np.linalg.norm(sphere.vertices, axis=1)[:, None]
    vertices, triangles = directions * SEMI_AXES + 0.0, sphere.faces
    lines = ["# ellipsoid with semi-axes 1.5, 1.0, 0.5 m along x, y, z; metres"]
    lines += [
        f"v {x:.7f} {y:.7f} {z:.7f}".replace("-0.0000000", "0.0000000") for x, y, z in vertices
    ]
    lines += [f"f {a} {b} {c}" for a, b, c in triangles + 1]
    Path(path).write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
    return vertices, triangles


if __name__ == "__main__":
    print(f"{len(main()[1])} triangles written to ellipsoid.obj")

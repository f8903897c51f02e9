"""STEP files, meshed by gmsh in a process of its own.

gmsh comes with the extra `panelcp[cad]` under its own licence; it is never imported into the
process of the program. Run as `python -m panelcp.surface.step_worker IN OUT SIZE`.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import zipfile
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.surface.parts import Part, compact_part, unique_names

TIME_LIMIT = 300.0
"""Seconds that meshing a STEP file may take."""

PER_CIRCLE = 32
"""Edges round a full circle: the size follows the curvature."""

LONGEST = 1.0 / 40.0
"""Longest edge in parts of the diagonal of the body, when no size is given."""

SHORTEST = 1.0 / 4000.0
"""Shortest edge wanted, in parts of the diagonal."""


def has_gmsh() -> bool:
    """Whether the extra package is installed; it is not imported."""
    try:
        version("gmsh")
    except PackageNotFoundError:
        return False
    return True


def mesh_step(path, size: float | None = None, time_limit: float = TIME_LIMIT) -> list[Part]:
    """Triangles on the surfaces of a STEP file, in mm, one part for each solid.

    Parameters
    ----------
    path : of the file
    size : longest edge, mm; a fortieth of the diagonal when not given
    time_limit : s, after which the work is given up

    Returns
    -------
    list of Part

    Raises
    ------
    SurfaceError : extra not installed, file that cannot be read, time limit
    """
    path = Path(path)
    if not has_gmsh():
        raise SurfaceError(
            f"{path.name}: STEP needs an extra package: pip install 'panelcp[cad]'; or export the "
            "skin as STL or OBJ from your CAD"
        )
    if size is not None and not size > 0.0:
        raise SurfaceError(f"{path.name}: step_size must be above 0, not {size}")
    with tempfile.TemporaryDirectory() as folder:
        output = Path(folder) / "mesh.npz"
        words = [str(path.resolve()), str(output), repr(float(size or 0.0))]
        code = [sys.executable, "-m", "panelcp.surface.step_worker", *words]
        try:
            done = subprocess.run(
                code, capture_output=True, timeout=time_limit, check=False, cwd=_root()
            )
        except subprocess.TimeoutExpired:
            raise SurfaceError(
                f"{path.name}: meshing took more than {time_limit:.0f} s and was given up; export "
                "the skin as STL or OBJ from your CAD"
            ) from None
        if done.returncode != 0 or not output.is_file():
            raise SurfaceError(f"{path.name}: {_reason(done)}; export the skin as STL or OBJ")
        return _parts(output)


def _root() -> Path:
    """Folder from which the package can be imported."""
    return Path(__file__).resolve().parents[2]


def _reason(done: subprocess.CompletedProcess) -> str:
    lines = [line for line in done.stderr.decode("utf-8", "replace").splitlines() if line.strip()]
    said = lines[-1][:160] if lines else f"the mesher ended with status {done.returncode}"
    return f"not a STEP file that can be meshed ({said})"


def _parts(output: Path) -> list[Part]:
    try:
        with np.load(output, allow_pickle=False) as found:
            names = unique_names(str(name) for name in found["names"])
            vertices, triangles, part = found["vertices"], found["triangles"], found["part"]
    except (OSError, ValueError, KeyError, zipfile.BadZipFile):
        raise SurfaceError("the mesh of the STEP file cannot be read back; try again") from None
    return [
        compact_part(name, vertices, triangles[part == k], unit="mm")
        for k, name in enumerate(names)
    ]


def main(argv: list[str]) -> int:
    """Mesh one file; the process of the worker.

    Parameters
    ----------
    argv : STEP file, file to write, longest edge in mm or 0

    Returns
    -------
    int : exit status
    """
    source, output, size = argv[0], argv[1], float(argv[2])
    import gmsh

    gmsh.initialize(["gmsh", "-noenv"], readConfigFiles=False, interruptible=False)
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        gmsh.option.setString("Geometry.OCCTargetUnit", "MM")
        entities = gmsh.model.occ.importShapes(source, highestDimOnly=False, format="step")
        gmsh.model.occ.synchronize()
        if not any(dimension >= 2 for dimension, _ in entities):
            raise RuntimeError("it holds no surfaces")
        _set_size(gmsh, size)
        gmsh.model.mesh.generate(2)
        names, arrays = _mesh_arrays(gmsh)
    finally:
        gmsh.finalize()
    np.savez(output, names=np.array(names), **arrays)
    return 0


def _set_size(gmsh, size: float):
    box = np.reshape(gmsh.model.getBoundingBox(-1, -1), (2, 3))
    diagonal = float(np.linalg.norm(box[1] - box[0]))
    gmsh.option.setNumber("Mesh.MeshSizeMax", size or LONGEST * diagonal)
    gmsh.option.setNumber("Mesh.MeshSizeMin", min(size or np.inf, SHORTEST * diagonal))
    gmsh.option.setNumber("Mesh.MeshSizeFromCurvature", PER_CIRCLE)
    gmsh.option.setNumber("Mesh.MeshSizeExtendFromBoundary", 1)


def _mesh_arrays(gmsh) -> tuple[list[str], dict[str, np.ndarray]]:
    """Names of the parts, and vertices, triangles and part of each triangle."""
    tags, coordinates, _ = gmsh.model.mesh.getNodes()
    place = np.zeros(int(tags.max()) + 1 if len(tags) else 1, dtype=np.int64)
    place[tags.astype(np.int64)] = np.arange(len(tags))
    names, triangles, part, taken = [], [], [], set()
    groups = [((3, tag), gmsh.model.getEntityName(3, tag)) for _, tag in gmsh.model.getEntities(3)]
    for entity, name in groups:
        faces = gmsh.model.getBoundary([entity], oriented=True)
        taken |= {abs(tag) for _, tag in faces}
        _collect(gmsh, [tag for _, tag in faces], place, triangles, part, len(names))
        names.append(name.rsplit("/", 1)[-1] or f"solid {entity[1]}")
    loose = [tag for _, tag in gmsh.model.getEntities(2) if tag not in taken]
    if loose:
        _collect(gmsh, loose, place, triangles, part, len(names))
        names.append("loose surfaces")
    if not triangles:
        raise RuntimeError("no triangles came of it")
    return names, {
        "vertices": coordinates.reshape(-1, 3),
        "triangles": np.concatenate(triangles),
        "part": np.concatenate(part),
    }


def _collect(gmsh, faces, place, triangles, part, number: int):
    for tag in faces:
        kinds, _, nodes = gmsh.model.mesh.getElements(2, abs(tag))
        for kind, corners in zip(kinds, nodes, strict=True):
            if kind == 2:
                found = place[corners.astype(np.int64)].reshape(-1, 3)
                triangles.append(found if tag > 0 else found[:, [0, 2, 1]])
                part.append(np.full(len(found), number))


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except Exception as error:
        sys.exit(" ".join(str(error).split())[:300] or type(error).__name__)

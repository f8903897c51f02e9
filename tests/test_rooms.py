"""Data flows one way: every file imports only from its own room and from rooms above it."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "panelcp"
ROOMS = [
    {"errors", "display"},
    {"units"},
    {"quantity"},
    {"atmosphere"},
    {"surface"},
    {"panels"},
    {"onset"},
    {"flow"},
    {"placement", "cooling"},
    {"survey"},
    {"report"},
    {"case"},
    {"cli"},
    {"__main__"},
]
ROW = {room: row for row, rooms in enumerate(ROOMS) for room in rooms}
FILES = sorted(path for path in PACKAGE.rglob("*.py") if path != PACKAGE / "__init__.py")


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported_rooms(source: str) -> list[tuple[int, str]]:
    """Line and room of every import from the package, also those inside functions."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        else:
            continue
        assert not (isinstance(node, ast.ImportFrom) and node.level), "write imports in full"
        parts = [name.split(".") for name in names]
        found += [(node.lineno, p[1]) for p in parts if p[0] == "panelcp" and len(p) > 1]
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_imports_only_from_rooms_above(path):
    own = room_of(path)
    assert own in ROW, f"{own} is not a room of the house"
    for line, room in imported_rooms(path.read_text(encoding="utf-8")):
        if room in ("__version__", own):
            continue
        assert room in ROW, f"{path.name}:{line} imports from {room}, which is no room"
        assert ROW[room] < ROW[own], f"{path.name}:{line}: {own} must not import from {room}"


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_numba_is_used_in_kernels_only(path):
    imports = [
        name
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Import | ast.ImportFrom)
        for name in (
            [node.module] if isinstance(node, ast.ImportFrom) else [a.name for a in node.names]
        )
    ]
    uses_numba = any(name and name.split(".")[0] == "numba" for name in imports)
    assert not uses_numba or path.stem.endswith("_kernels")


def test_the_reader_of_imports_sees_imports_inside_functions():
    source = "def f():\n    from panelcp.report.maps import draw\n    import panelcp.cli\n"
    assert imported_rooms(source) == [(2, "report"), (3, "cli")]

"""Scripts as they stand in a page."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path


def joined_scripts(names: Iterable[str]) -> str:
    """Files beside this one, one behind the other."""
    folder = Path(__file__).parent
    return "\n".join((folder / name).read_text(encoding="utf-8") for name in names)


def lean_script(text: str) -> str:
    """A script without indentation, empty lines and lines that are comments.

    Examples
    --------
    >>> lean_script("// what it does\\n  run();\\n\\n  // end\\n")
    'run();'
    """
    lines = (line.strip() for line in text.split("\n"))
    return "\n".join(line for line in lines if line and not line.startswith("//"))

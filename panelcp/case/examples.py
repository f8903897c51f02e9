"""Examples that ship with the package."""

from __future__ import annotations

import shutil
from difflib import get_close_matches
from pathlib import Path

import panelcp
from panelcp.errors import CaseError

_NOT_COPIED = shutil.ignore_patterns("results", "__pycache__", ".*")


def examples_folder() -> Path:
    """Folder of the shipped examples: inside the installed package, or beside its sources."""
    package = Path(panelcp.__file__).resolve().parent
    for folder in (package / "geometries", package.parent / "geometries"):
        if folder.is_dir():
            return folder
    raise CaseError("the examples are missing from this installation; install panelcp again")


def example_names() -> list[str]:
    """Names of the shipped examples."""
    return sorted(path.parent.name for path in examples_folder().glob("*/case.toml"))


def copy_example(name: str, folder=None) -> Path:
    """Copy an example to a new folder.

    Parameters
    ----------
    name : one of `example_names()`
    folder : new folder; named like the example, in the current folder, when not given

    Returns
    -------
    Path of the new folder

    Raises
    ------
    CaseError : unknown name, a folder that exists already, one that cannot be written
    """
    names = example_names()
    if name not in names:
        near = get_close_matches(name, names, n=1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise CaseError(f"no example is called {name!r}; there are: {', '.join(names)}{hint}")
    target = Path(folder) if folder is not None else Path(name)
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise CaseError(f"{target} exists already and is not empty; give another folder")
    try:
        shutil.copytree(
            examples_folder() / name,
            target,
            ignore=_NOT_COPIED,
            dirs_exist_ok=True,
            copy_function=shutil.copyfile,
        )
    except OSError as error:
        raise CaseError(f"{target}: cannot be written ({error.strerror})") from None
    return target

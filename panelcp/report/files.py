"""Writing a folder of results complete or not at all."""

from __future__ import annotations

import errno
import json
import os
import shutil
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from panelcp.errors import CaseError

_DISK_ERRORS = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS, errno.EIO)

OLD_DRAFT = 24 * 3600.0
"""s; a draft older than this belongs to no run that is still going on."""


KINDS = ("run", "rank", "cool", "pressures", "side-by-side", "template")
"""First words of the names of results: whole runs, ranks of one case, its cooling network alone,
its pressures alone, comparisons of several, marking templates."""


def require_folder(results: Path):
    """Refuse a results folder that cannot be written to, before any work; clear old drafts.

    Drafts that killed runs left behind more than a day ago are removed.

    Raises
    ------
    CaseError : the folder cannot be made, or nothing can be written into it
    """
    made = [folder for folder in (results, *results.parents) if not folder.exists()]
    try:
        shutil.rmtree(_new_draft(results, "try"))
    finally:
        for folder in made:
            with suppress(OSError):
                folder.rmdir()
    drafts = [draft for kind in KINDS for draft in results.glob(f".{kind}-*")]
    for draft in drafts:
        with suppress(OSError):
            if time.time() - draft.stat().st_mtime > OLD_DRAFT:
                shutil.rmtree(draft)


def _new_draft(results: Path, name: str) -> Path:
    try:
        results.mkdir(parents=True, exist_ok=True)
        return Path(tempfile.mkdtemp(prefix=f".{name}-", dir=results))
    except OSError as error:
        why = "it is a file, not a folder" if results.is_file() else error.strerror
        raise CaseError(
            f"{results}: results cannot be written here ({why}); copy the case to a "
            "folder of your own, or give --results"
        ) from None


def write_folder(results: Path, name: str, fill: Callable[[Path], None]) -> Path:
    """Fill a new folder beside the wanted one, then move it into place.

    A killed run leaves the earlier folder whole. `latest.json`, which names the newest run (not
    ranks and comparisons), is replaced last.

    Parameters
    ----------
    results : folder that holds all runs; made when missing
    name : of the run's folder
    fill : called with the empty folder to write into

    Returns
    -------
    Path of the finished folder

    Raises
    ------
    CaseError : the results folder cannot be written to, or the disk is full
    """
    draft = _new_draft(results, name)
    try:
        fill(draft)
        draft.chmod(0o755)
        _move_into_place(draft, results / name)
    except OSError as error:
        if error.errno not in _DISK_ERRORS:
            raise
        raise CaseError(f"{results}: results cannot be written ({error.strerror})") from None
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    if not name.startswith(f"{KINDS[0]}-"):
        return results / name
    latest = results / "latest.json"
    try:
        replace_text(latest, json.dumps({"run": name}, indent=2) + "\n")
    except OSError as error:
        raise CaseError(f"{latest}: cannot be written ({error.strerror})") from None
    return results / name


def _move_into_place(draft: Path, target: Path):
    if not target.exists():
        os.replace(draft, target)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{target.name}-old-", dir=target.parent))
    os.replace(target, old / "run")
    try:
        os.replace(draft, target)
    except OSError:
        os.replace(old / "run", target)
        raise
    finally:
        shutil.rmtree(old, ignore_errors=True)


def replace_text(path: Path, content: str):
    """Write a UTF-8 text beside a file, then put it in its place."""
    handle, draft = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
            stream.write(content)
        os.chmod(draft, 0o644)
        os.replace(draft, path)
    except OSError:
        Path(draft).unlink(missing_ok=True)
        raise


def write_text(path: Path, content: str):
    """Write a UTF-8 text with plain line ends."""
    path.write_text(content, encoding="utf-8", newline="\n")

"""Revisions of the report of a case: a small log beside the runs, and what changed since.

`revisions.json` in the folder of results holds, by the name of the case, every distinct hash of
inputs in the order in which they were first run: revision 1, 2, 3 and so on, with date and folder.
A hash that is run again keeps its number and the one before it, so that a repeated run gives the
same report.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from panelcp.report.answer_section import worst_first
from panelcp.report.contents import RunContents
from panelcp.report.files import replace_text

FILE, DAMAGED = "revisions.json", "revisions.damaged.json"
FORMAT = 1


@dataclass(frozen=True, eq=False)
class Revision:
    """Which revision a report is, and what came before it.

    Attributes
    ----------
    number : from 1
    previous : hash of the inputs of the revision before; "" for the first
    previous_summary : its summary.json, or None where there is none any more
    previous_number, previous_date : of that revision; 0 and "" for the first
    note : what was wrong with the log of revisions, for the run's log; or nothing
    """

    number: int = 1
    previous: str = ""
    previous_summary: dict[str, Any] | None = None
    previous_number: int = 0
    previous_date: str = ""
    note: str = ""


@dataclass(frozen=True)
class Difference:
    """One thing that is not as it was: what, before, now, in words with units."""

    what: str
    before: str
    now: str


# --------------------------------------------------------------------------------- the log


def revision_of(results: Path, contents: RunContents) -> Revision:
    """Which revision of its case a run is; nothing is written.

    Parameters
    ----------
    results : folder of all runs; it need not exist
    contents : RunContents

    Returns
    -------
    Revision; a log that is missing or damaged makes it the first, the latter with a note
    """
    cases, note = _read(Path(results) / FILE)
    entries = cases.get(contents.name, [])
    numbers = [entry["hash"] for entry in entries]
    known = contents.input_hash in numbers
    place = numbers.index(contents.input_hash) if known else len(entries)
    if not place:
        return Revision(note=note)
    before = entries[place - 1]
    return Revision(
        place + 1,
        before["hash"],
        _summary(Path(results) / before["folder"] / "summary.json"),
        place,
        before["date"],
        note,
    )


def record_revision(results: Path, contents: RunContents) -> Revision:
    """Put a run into the log of revisions, as the last thing that a run writes.

    A hash that is there already is left as it is. A damaged log is kept beside the new one.

    Parameters
    ----------
    results : folder of all runs, which is there
    contents : RunContents

    Returns
    -------
    Revision; `note` says what was wrong. Nothing is raised where the log cannot be written
    """
    path = Path(results) / FILE
    found = revision_of(results, contents)
    cases, damaged = _read(path)
    entries = cases.setdefault(contents.name, [])
    if any(entry["hash"] == contents.input_hash for entry in entries):
        return found
    entries.append(
        {
            "revision": found.number,
            "hash": contents.input_hash,
            "date": contents.date,
            "folder": f"run-{contents.input_hash}",
        }
    )
    text = json.dumps({"format": FORMAT, "cases": cases}, indent=1, ensure_ascii=False) + "\n"
    try:
        if damaged and path.exists():
            os.replace(path, path.with_name(DAMAGED))
        replace_text(path, text)
    except (OSError, UnicodeError) as error:
        note = f"{path.name}: the revision could not be recorded ({error})"
        return Revision(found.number, found.previous, found.previous_summary,
                        found.previous_number, found.previous_date, note)  # fmt: skip
    return found


def _read(path: Path) -> tuple[dict[str, list[dict[str, Any]]], str]:
    """Cases of the log and what is wrong with it."""
    try:
        raw = json.loads(path.read_text(encoding="utf-8"))
        return _checked(raw), ""
    except FileNotFoundError:
        return {}, ""
    except (OSError, ValueError, RecursionError) as error:
        reason = " ".join(str(error).split())
        return {}, (
            f"{path.name}: the log of revisions cannot be read ({reason}); revisions are counted "
            f"anew, the old file is kept as {DAMAGED}"
        )


def _checked(raw) -> dict[str, list[dict[str, Any]]]:
    """The cases of a log that is as it should be."""
    if not isinstance(raw, dict) or raw.get("format") != FORMAT:
        raise ValueError(f"expected format {FORMAT}")
    cases = raw.get("cases")
    if not isinstance(cases, dict):
        raise ValueError("no cases in it")
    for name, entries in cases.items():
        if not isinstance(entries, list):
            raise ValueError(f"case {name!r} has no list")
        for number, entry in enumerate(entries, start=1):
            known = entry if isinstance(entry, dict) else {}
            texts = [known.get(key) for key in ("hash", "date", "folder")]
            whole = all(isinstance(text, str) for text in texts) and bool(texts[0])
            whole = whole and re.fullmatch(r"run-[\w-]+", texts[2]) is not None
            if not whole or known.get("revision") != number:
                raise ValueError(f"case {name!r}: entry {number} is not whole")
    return cases


def _summary(path: Path) -> dict[str, Any] | None:
    """A summary.json that is there and can be read."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


# -------------------------------------------------------------------------- what changed


def differences(previous: dict[str, Any], now: dict[str, Any]) -> list[Difference]:
    """What is not as it was, the most important first.

    Answers come first (best exit and inlet, least ratio, margins), then warnings that came or
    went, then the inputs that were changed, surface and version.

    Parameters
    ----------
    previous, now : summary.json of both, as read; parts that are missing are passed over

    Returns
    -------
    list of Difference; empty where nothing differs
    """
    parts = (_best, _margins, _warnings, _inputs, _others)
    return [found for part in parts for found in part(previous, now)]


def _changed(what: str, before: str, now: str) -> Iterator[Difference]:
    if before != now:
        yield Difference(what, before, now)


def _pair(summary) -> dict[str, Any]:
    pairs = _part(_part(summary, "ranking", {}), "pairs", [])
    return pairs[0] if pairs and isinstance(pairs[0], dict) else {}


def _part(record, key: str, default):
    """A part of a record that is of the kind of its default."""
    found = record.get(key, default) if isinstance(record, dict) else default
    return found if isinstance(found, type(default)) else default


def _best(previous, now) -> Iterator[Difference]:
    """Changes of the best pair."""
    old, new = _pair(previous), _pair(now)
    yield from _changed("best exit", _exit_text(old), _exit_text(new))
    yield from _changed("best inlet", old.get("inlet", "none"), new.get("inlet", "none"))
    yield from _changed("least available over needed", _ratio(old), _ratio(new))
    key = "limiting_condition"
    yield from _changed("deciding condition", old.get(key, "none"), new.get(key, "none"))
    key = "probability_enough"
    yield from _changed("probability of enough", _share(old.get(key)), _share(new.get(key)))


def _exit_text(pair) -> str:
    if not pair:
        return "none"
    centre = pair.get("exit_centre") or []
    place = " ".join(
        f"{axis} {_whole(1e3 * x)}" for axis, x in zip(("STA", "BL", "WL"), centre, strict=False)
    )
    return f"{pair.get('exit')} ({pair.get('exit_side')}, {place} mm)"


def _ratio(pair) -> str:
    ratio, deviation = pair.get("least_ratio"), pair.get("least_ratio_deviation")
    if ratio is None:
        return "not known"
    return f"{ratio:.2f}" + ("" if deviation is None else f" ± {deviation:.2f}")


def _share(value) -> str:
    return "not known" if value is None else f"{100 * value:.0f} %"


def _margins(previous, now) -> Iterator[Difference]:
    """Least margins by condition, the largest changes first."""
    old, new = _margin_texts(previous), _margin_texts(now)
    rows = []
    for name in dict.fromkeys((*new, *old)):
        before, after = old.get(name), new.get(name)
        texts = [part[0] if part else "not in it" for part in (before, after)]
        if texts[0] != texts[1]:
            values = [part[1] if part else None for part in (before, after)]
            known = None not in values
            size = abs(values[1] - values[0]) if known else float("inf")
            rows.append((size, Difference(f"least margin, {name}", *texts)))
    yield from (row for _, row in sorted(rows, key=lambda one: -one[0]))


def _margin_texts(summary) -> dict[str, tuple[str, float | None]]:
    cooling = _part(summary, "cooling", {})
    names = _part(cooling, "conditions", [])
    margins = _part(cooling, "least_margin_K", [])
    cores = _part(cooling, "limiting_core", [])
    found = {}
    for name, margin, core in zip(names, margins, cores, strict=False):
        text = "not known" if margin is None else f"{margin:.1f} K ({core})".replace("-", "−")
        found[name] = text, margin
    return found


def _warnings(previous, now) -> Iterator[Difference]:
    """Warnings that came, the worst first, then those that went."""
    old, new = _part(previous, "warnings", []), _part(now, "warnings", [])
    for text in worst_first([w for w in new if w not in old]):
        yield Difference("warning", "not there", text)
    for text in worst_first([w for w in old if w not in new]):
        yield Difference("warning", text, "gone")


def _inputs(previous, now) -> Iterator[Difference]:
    """Keys of the case that are not as they were."""
    old, new = (dict(_flat("", _part(_part(s, "inputs", {}), "case", {}))) for s in (previous, now))
    for key in dict.fromkeys((*new, *old)):
        yield from _changed(f"input: {key}", old.get(key, "not given"), new.get(key, "not given"))


def _flat(key: str, value) -> Iterator[tuple[str, str]]:
    """Keys in words and values as texts; tables of a list go by their names."""
    if isinstance(value, dict) and "value" in value:
        yield key, _uncertain(value)
    elif isinstance(value, dict):
        for name, part in value.items():
            word = str(name).replace("_", " ")
            yield from _flat(f"{key}, {word}" if key else word, part)
    elif isinstance(value, list) and value and all(isinstance(part, dict) for part in value):
        for number, part in enumerate(value, start=1):
            name = part.get("name", part.get("kind", number))
            yield f"{key} {name}", "given"
            yield from _flat(f"{key} {name}", {k: v for k, v in part.items() if k != "name"})
    else:
        yield key, plain_text(value)


def plain_text(value) -> str:
    """A value of a case in words.

    Examples
    --------
    >>> plain_text(True), plain_text(["30 mm", "0 mm"]), plain_text(3.0)
    ('yes', '30 mm, 0 mm', '3')
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        inner = [plain_text(part) for part in value]
        nested = any(isinstance(part, list | tuple | dict) for part in value)
        return "; ".join(inner) if nested else ", ".join(inner)
    if isinstance(value, dict):
        if "value" in value:
            return _uncertain(value)
        parts = (f"{str(k).replace('_', ' ')} {plain_text(v)}" for k, v in value.items())
        return ", ".join(parts)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _uncertain(value) -> str:
    """A number with its band and mark."""
    text = plain_text(value["value"])
    if "low" in value and "high" in value:
        text += f" ({plain_text(value['low'])} to {plain_text(value['high'])})"
    return text + (f", {value['mark']}" if "mark" in value else "")


def _others(previous, now) -> Iterator[Difference]:
    """Surface and version."""
    old, new = (_part(s, "inputs", {}).get("surface_hash") for s in (previous, now))
    yield from _changed("surface, hash", _short(old), _short(new))
    yield from _changed("surface, panels", *(_panels(s) for s in (previous, now)))
    yield from _changed("version", *(str(s.get("version", "?")) for s in (previous, now)))


def _panels(summary) -> str:
    return str(_part(summary, "surface", {}).get("panels", "not known"))


def _short(hash_) -> str:
    return str(hash_)[:10] if hash_ else "not kept"


def _whole(value: float) -> str:
    text = f"{value:.0f}"
    return "0" if text == "-0" else text.replace("-", "−")

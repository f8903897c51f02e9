"""The ranking of one case, or of several cases side by side."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

import panelcp
from panelcp.case.cooling_run import NO_NETWORK
from panelcp.case.preparing import PreparedCase, Progress, prepare_case, quiet
from panelcp.case.reading import Case, read_case
from panelcp.case.running import Run, compiling, finished_run
from panelcp.case.solving import solve_case
from panelcp.errors import CaseError, PanelcpError
from panelcp.placement.comparing import (
    SAME_PLACE,
    case_differences,
    chances_of_best,
    common_conditions,
    deciding_names,
    find_pair,
    in_shared_worlds,
    least_ratio,
    opening_differences,
    paired_least_ratios,
)
from panelcp.placement.ranking import OpeningRanking
from panelcp.report.contents import RunContents, place_line
from panelcp.report.files import require_folder
from panelcp.report.side_by_side import (
    LONGEST_VALUE,
    Change,
    SideBySide,
    Variant,
    write_ranking,
    write_side_by_side,
)
from panelcp.surface.mesh import SurfaceMesh

MOST_PAIRS = 12
"""Pairs of the same names that are compared, best of the first case first."""

SMALLEST_MOVE = 0.5e-3
"""m; places are given in whole millimetres."""

ABSENT = "not there"


@dataclass(frozen=True, eq=False)
class Comparison:
    """Several cases ranked side by side.

    Attributes
    ----------
    folder : with the results
    sides : SideBySide, everything that was found
    """

    folder: Path
    sides: SideBySide

    def __repr__(self):
        return f"Comparison({self.folder.name}, {', '.join(map(repr, self.sides.names))})"

    def _repr_html_(self) -> str:
        from panelcp.report.notebook import comparison_html

        return comparison_html(self.folder, self.sides)


def rank_case(case, results=None, progress: Progress = quiet, by: str = "pressure") -> Run:
    """Solve and rank a case without maps and page, into results/rank-<hash>/.

    Parameters
    ----------
    case : path of a case file, or a Case
    results : folder for the results; `results` beside the case file when not given
    progress : called with a short text before each step
    by : "pressure", or "margin": also solve the cooling network, and with it every place

    Returns
    -------
    Run

    Raises
    ------
    PanelcpError : a mistake in the input; nothing is written then
    """
    case = case if isinstance(case, Case) else read_case(case)
    if by == "margin" and case.installation is None:
        raise CaseError(f"{case.path.name}: {NO_NETWORK}")
    only = "margin" if by == "margin" else "ranking"
    return finished_run(case, results, progress, write_ranking, only=only)


def rank_side_by_side(paths, results=None, progress: Progress = quiet) -> Comparison:
    """Rank several cases in the same worlds, into results/side-by-side-<hash>/.

    Parameters
    ----------
    paths : of two case files at least
    results : folder for the results; `results` beside the first case file when not given
    progress : called with a short text before each step

    Returns
    -------
    Comparison

    Raises
    ------
    PanelcpError : a mistake in one of the cases, said with its file; the same file twice; no
        condition that decides in all cases. Nothing is written then
    """
    paths = [Path(path) for path in paths]
    _require_several(paths)
    cases = []
    for path in paths:
        with _named(path):
            cases.append(read_case(path))
    _require_common_conditions(cases)
    names = case_names(cases)
    root = Path(results) if results is not None else paths[0].parent / "results"
    with compiling(progress):
        steps = [_with_name(progress, name) for name in names]
        prepared = []
        for path, case, step in zip(paths, cases, steps, strict=True):
            with _named(path):
                prepared.append(prepare_case(case, step))
        require_folder(root)
        contents = []
        for path, ready, step in zip(paths, prepared, steps, strict=True):
            with _named(path):
                contents.append(solve_case(ready, step, only="ranking"))
    progress("comparing")
    sides = side_by_side(names, [str(path) for path in paths], prepared, contents)
    return Comparison(write_side_by_side(sides, root), sides)


@contextmanager
def _named(path: Path) -> Iterator[None]:
    """Mistakes in a case are said with its whole path: all may be called case.toml."""
    try:
        yield
    except PanelcpError as error:
        message = str(error)
        for own in (f"{path}: ", f"{path.name}: "):
            message = message.removeprefix(own)
        raise type(error)(f"{path}: {message}") from None


def _with_name(progress: Progress, name: str) -> Progress:
    return lambda text: progress(f"{name}: {text}")


def _require_several(paths: Sequence[Path]):
    if len(paths) < 2:
        raise CaseError(f"{len(paths)} case(s) to compare; give two at least")
    seen: dict[Path, Path] = {}
    for path in paths:
        before = seen.setdefault(path.resolve(), path)
        if before is not path:
            raise CaseError(
                f"{path}: given twice; give every case once (a copy under another name is another "
                "case)"
            )


def _require_common_conditions(cases: Sequence[Case]):
    """The same as after the ranking, but before any work, and with the names."""
    deciding = [[c.name for c in case.conditions if c.decides] for case in cases]
    if set.intersection(*(set(names) for names in deciding)):
        return
    rows = [
        f"  {case.path}: {', '.join(names)}" for case, names in zip(cases, deciding, strict=True)
    ]
    title = (
        f"no condition decides in all {len(cases)} cases; conditions are matched by name, so give "
        "one deciding [[condition]] the same name in all. Deciding are:"
    )
    raise CaseError("\n".join([title, *rows]))


def case_names(cases: Sequence[Case]) -> tuple[str, ...]:
    """Names of the cases; with the file where two have the same, with its folder if need be."""
    names = [case.name for case in cases]
    for tail in (lambda path: path.name, str):
        counts = Counter(names)
        names = [
            f"{case.name} ({tail(case.path)})" if counts[name] > 1 else name
            for case, name in zip(cases, names, strict=True)
        ]
    return tuple(names)


# --- comparing -----------------------------------------------------------------------------


def side_by_side(
    names: Sequence[str],
    files: Sequence[str],
    prepared: Sequence[PreparedCase],
    contents: Sequence[RunContents],
) -> SideBySide:
    """Look at solved cases in the same worlds.

    Parameters
    ----------
    names, files : of the cases
    prepared : the cases, made ready
    contents : what their solutions have shown

    Returns
    -------
    SideBySide
    """
    surfaces = [ready.surface for ready in prepared]
    panellings = numbered_panellings(surfaces)
    regions = [surface.region_names for surface in surfaces]
    rankings = in_shared_worlds([c.ranking for c in contents], regions, panellings)
    conditions = common_conditions(rankings)
    n_cases = len(rankings)
    drawn = paired_least_ratios(rankings, [0] * n_cases, conditions)
    least = [least_ratio(ranking, 0, conditions) for ranking in rankings]
    digest = hashlib.sha256("\n".join(c.input_hash for c in contents).encode())
    return SideBySide(
        version=panelcp.__version__,
        input_hash=digest.hexdigest()[:10],
        names=tuple(names),
        files=tuple(files),
        contents=tuple(contents),
        conditions=conditions,
        alone=tuple(
            tuple(name for name in deciding_names(ranking) if name not in conditions)
            for ranking in rankings
        ),
        least=[ratio for ratio, _ in least],
        deviation=drawn.std(axis=1),
        hardest=tuple(name for _, name in least),
        enough=(drawn >= 1.0).mean(axis=1),
        best=chances_of_best(drawn),
        differences={
            (i, k): case_differences([rankings[i], rankings[k]], (0, 0), conditions)
            for i, k in combinations(range(n_cases), 2)
        },
        variants=tuple(
            _variant(prepared, contents, rankings, conditions, k) for k in range(1, n_cases)
        ),
        common=tuple(_common_lines(rankings, contents, regions, panellings)),
    )


def numbered_panellings(surfaces: Sequence[SurfaceMesh]) -> list[int]:
    """A number for each surface, the same where vertices and triangles are the same."""
    kinds: list[SurfaceMesh] = []
    numbers = []
    for surface in surfaces:
        same = [
            k
            for k, other in enumerate(kinds)
            if np.array_equal(surface.vertices, other.vertices)
            and np.array_equal(surface.triangles, other.triangles)
        ]
        numbers.append(same[0] if same else len(kinds))
        kinds += [] if same else [surface]
    return numbers


def _variant(prepared, contents, rankings, conditions, number: int) -> Variant:
    """A case against the first one."""
    both = [(part[0], part[number]) for part in (prepared, contents, rankings)]
    (first, second), solved, ranked = both
    entries = [{entry.name for entry in ready.case.openings} for ready in (first, second)]
    named = [entry.name for entry in first.case.openings if entry.name in entries[1]]
    pairs = _same_pairs(solved, ranked, set(named))
    return Variant(
        changes=tuple(case_changes(*solved)),
        unlike=tuple(
            name for name in conditions if _condition(first, name) != _condition(second, name)
        ),
        pairs=tuple(case_differences(ranked, pair, conditions) for pair in pairs),
        openings=opening_differences(ranked, named, conditions),
    )


def _condition(prepared: PreparedCase, name: str):
    """A condition and what it needs."""
    case = prepared.case
    names = [condition.name for condition in case.conditions]
    number = names.index(name)
    return repr(case.conditions[number]), repr(case.needed_pressure[number])


def _same_pairs(contents, rankings, named: set[str]) -> list[tuple[int, int]]:
    """Pairs of the first case, and the same of the second; best of the first case first.

    Those of openings that both cases name, and the best pair of each, where the other case has
    the same places.
    """
    ours, theirs = (_by_draw(*both) for both in zip(contents, rankings, strict=True))
    first, second = rankings
    found = {}
    for pair in range(first.n_pairs):
        names = first.inlet(pair).name, first.exit(pair).name
        if named.issuperset(names):
            found[pair] = find_pair(second, *names)
    best = _elsewhere(first, ours, second, theirs, named)
    found.setdefault(0, best)
    best = _elsewhere(second, theirs, first, ours, named)
    if best is not None:
        found.setdefault(best, 0)
    pairs = [(pair, found[pair]) for pair in sorted(found) if found[pair] is not None]
    return [both for both in pairs if both != (0, 0)][:MOST_PAIRS]


def _by_draw(contents: RunContents, shared: OpeningRanking) -> dict[str, str]:
    """Name of every opening -> name of its draws, the same in all cases at the same place."""
    own, drawn = contents.ranking.bands.samples.openings, shared.bands.samples.openings
    return {opening.name: other.name for opening, other in zip(own, drawn, strict=True)}


def _elsewhere(ranking, draws, other, other_draws, named: set[str]) -> int | None:
    """Number of the best pair of a ranking in another one; None where it does not have it."""
    back = {drawn: name for name, drawn in other_draws.items()}
    names = [
        opening.name if opening.name in named else back.get(draws[opening.name])
        for opening in (ranking.inlet(0), ranking.exit(0))
    ]
    return None if None in names else find_pair(other, *names)


def _common_lines(rankings, contents, regions, panellings) -> list[str]:
    """What the cases have in common in every world, and what not."""
    lines = [
        f"All cases are looked at in the same {rankings[0].bands.samples.count} worlds: angle of "
        "attack, sideslip, wind, strength of the slipstream and needed pressure miss their values "
        "by the same number of deviations in all of them.",
        "The model error of Cp is common to what regions of the same name have on one side, in "
        "all cases, as it is within one case.",
    ]
    lines += [
        f"Regions that not all cases have: {', '.join(names)}."
        for names in [_not_in_all(regions)]
        if names
    ]
    drawn = [set(_by_draw(*both).values()) for both in zip(contents, rankings, strict=True)]
    shared, everything = set.intersection(*drawn), set.union(*drawn)
    lines.append(
        f"Of {len(everything)} places in all, {len(shared)} are the same in all cases (nearer "
        f"than {SAME_PLACE:g} of the larger side, of the same kind); what is not known of one "
        "place alone is the same there, and drawn anew elsewhere, whatever the names are."
    )
    if len(set(panellings)) > 1:
        lines.append(
            "The panels are not the same in all cases; errors of panelling and roughness are "
            "taken as having nothing in common where they are not."
        )
    else:
        lines.append("The panels are the same in all cases, and so are their errors.")
    return lines


def _not_in_all(regions) -> list[str]:
    everything = dict.fromkeys(name for names in regions for name in names)
    return [name for name in everything if not all(name in names for names in regions)]


# --- what is not the same ------------------------------------------------------------------


def case_changes(first: RunContents, second: RunContents) -> list[Change]:
    """All that is not the same in two cases: surface, places on the skin, entries of the file.

    Parameters
    ----------
    first, second : what two cases have shown

    Returns
    -------
    Changes, in this order; entries in the order of the files
    """
    return [
        *_surface_changes(first, second),
        *_moved_openings(first, second),
        *_search_changes(first, second),
        *table_changes(first.inputs["case"], second.inputs["case"]),
    ]


def _surface_changes(first: RunContents, second: RunContents) -> list[Change]:
    rows = [
        (words, *(tell(contents) for contents in (first, second)))
        for words, tell in (
            ("surface file, hash", lambda contents: contents.inputs["surface_hash"][:10]),
            ("surface, length, width, height", lambda contents: _millimetres(contents.check.size)),
            ("surface, least STA, BL, WL", lambda contents: _millimetres(contents.check.bounds[0])),
            (
                "surface, greatest STA, BL, WL",
                lambda contents: _millimetres(contents.check.bounds[1]),
            ),
            ("surface, panels", lambda contents: str(contents.check.n_panels)),
            ("surface, volume", lambda contents: f"{contents.check.volume:.4f} m3"),
        )
    ]
    return [Change(*row) for row in rows if row[1] != row[2]]


def _millimetres(values) -> str:
    return ", ".join(f"{value:.0f}" for value in np.round(np.asarray(values) * 1e3) + 0.0) + " mm"


def _moved_openings(first: RunContents, second: RunContents) -> list[Change]:
    """Openings of the same name that lie elsewhere on the skin."""
    there = {opening.name: opening for opening in second.openings.openings}
    found = []
    for opening in first.openings.openings:
        other = there.get(opening.name)
        if other is None:
            continue
        moved = float(np.linalg.norm(opening.centre - other.centre))
        if moved >= SMALLEST_MOVE:
            where = f"opening {_quoted(opening.name)} on the skin"
            text = f"{place_line(other)}: moved by {1e3 * moved:.0f} mm"
            found.append(Change(where, place_line(opening), text))
    return found


def _search_changes(first: RunContents, second: RunContents) -> list[Change]:
    """Searches of the same name that found other numbers of places."""
    there = {line.split(": ")[0]: line for line in second.searches}
    pairs = [(line, there.get(line.split(": ")[0], line)) for line in first.searches]
    return [Change("places found", *both) for both in pairs if both[0] != both[1]]


def table_changes(first: Mapping[str, Any], second: Mapping[str, Any]) -> list[Change]:
    """Entries that are not the same in two case files.

    Parameters
    ----------
    first, second : tables as parsed

    Returns
    -------
    Changes in the order of the first file, then what only the second one has; rows of a list of
    tables are matched by their names

    Examples
    --------
    >>> climb = {"name": "climb", "alpha": "6 deg"}
    >>> first = {"engine": {"rated_power": "75 kW"}, "condition": [climb]}
    >>> second = {"engine": {"rated_power": "80 kW"}, "condition": [{**climb, "alpha": "5 deg"}]}
    >>> for change in table_changes(first, second):
    ...     print(change.where, change.first, change.second, sep="; ")
    engine.rated_power; 75 kW; 80 kW
    condition "climb".alpha; 6 deg; 5 deg
    """
    return list(_changes("", first, second))


def _changes(where: str, first, second) -> Iterator[Change]:
    if first == second:
        return
    tables = [_as_table(value) for value in (first, second)]
    if None in tables:
        yield Change(where, _value_text(first), _value_text(second))
        return
    one, other = tables
    for key in dict.fromkeys([*one, *other]):
        inner = _joined(where, key)
        if key not in one:
            yield Change(inner, ABSENT, _value_text(other[key]))
        elif key not in other:
            yield Change(inner, _value_text(one[key]), ABSENT)
        else:
            yield from _changes(inner, one[key], other[key])


def _as_table(value) -> dict | None:
    """A table; rows of a list of tables by their names, or numbers where they have none."""
    if isinstance(value, dict):
        return value
    if not isinstance(value, list) or not value or not all(isinstance(v, dict) for v in value):
        return None
    names = [row.get("name") for row in value]
    if all(isinstance(name, str) for name in names) and len(set(names)) == len(names):
        return {_Row(_quoted(name)): row for name, row in zip(names, value, strict=True)}
    return {_Row(f"{number}"): row for number, row in enumerate(value, start=1)}


class _Row(str):
    """Name of a row in a list of tables; it is written after a space, not after a dot."""

    __slots__ = ()


def _joined(where: str, key: str) -> str:
    if not where:
        return str(key)
    between = " " if isinstance(key, _Row) else "."
    return f"{where}{between}{key}"


def _quoted(name: str) -> str:
    return f'"{name}"'


def _value_text(value) -> str:
    """A value of a case file on one line, cut where it is long."""
    text = " ".join(_plain_text(value).split())
    return text if len(text) <= LONGEST_VALUE else text[: LONGEST_VALUE - 1].rstrip() + "…"


def _plain_text(value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return ", ".join(f"{key} {_plain_text(part)}" for key, part in value.items())
    if isinstance(value, list):
        return ", ".join(_plain_text(part) for part in value)
    return str(value)

"""A marking template of one opening of a case; nothing is solved for it."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import date as Date
from difflib import get_close_matches
from hashlib import sha256
from pathlib import Path

import panelcp
from panelcp.case.preparing import PreparedCase, Progress, prepare_case, quiet, surface_hash
from panelcp.case.reading import Case, read_case
from panelcp.case.report_table import printed_day
from panelcp.case.running import printed_so
from panelcp.case.solving import hash_of_inputs, input_hash
from panelcp.errors import CaseError
from panelcp.placement.rules import windshield_cautions
from panelcp.report.files import require_folder, write_folder
from panelcp.report.places import opening_of
from panelcp.report.sheets import file_word
from panelcp.report.template import Template, TemplateSide
from panelcp.report.template_drawing import write_template
from panelcp.surface.flat_opening import flat_opening
from panelcp.surface.opening import Opening
from panelcp.surface.rays import SkinFinder
from panelcp.surface.skin_distance import tape_distances


@dataclass(frozen=True, eq=False)
class WrittenTemplate:
    """A template and where it was written.

    Attributes
    ----------
    template : Template
    folder : Path
    files : PDF, DXF and SVG
    """

    template: Template
    folder: Path
    files: tuple[Path, ...]

    def __repr__(self):
        names = ", ".join(path.name for path in self.files)
        return f"WrittenTemplate({self.template.name!r}, {self.folder.name}: {names})"

    def _repr_html_(self) -> str:
        from panelcp.report.notebook import template_html

        return template_html(self.template, self.files)


def marking_template(
    case,
    name: str,
    results=None,
    paper: str | None = None,
    date: str | Date | None = None,
    progress: Progress = quiet,
) -> WrittenTemplate:
    """Write a 1:1 marking template of one opening into results/template-<name>/.

    Every name has a folder of its own, see `template_word`; where the case file is not called
    case.toml, template-<name>--<case>/, so that cases in one folder leave each other's alone.

    Parameters
    ----------
    case : path of a case file, or a Case
    name : of an opening of the case, or of a place of one of its searches, "top 3"; "top best 1"
        once the case was run
    results : folder for the results; `results` beside the case file when not given
    paper : "A4" or "Letter"; that of the case when not given
    date : printed on the sheets, a date or "2026-05-01"; that of the case, else today, when not
        given
    progress : called with a short text before each step

    Returns
    -------
    WrittenTemplate

    Raises
    ------
    PanelcpError : no such opening, a sharp fold or hole under it, a skin too tightly curved for
        paper, a date or paper that is not known; nothing is written then
    """
    case = case if isinstance(case, Case) else read_case(case)
    settings = printed_so(case, date, paper).report
    paper, day = settings.paper, settings.date or printed_day()
    results = Path(results) if results is not None else case.path.parent / "results"
    require_folder(results)
    prepared, opening = opening_called(case, name, progress, results)
    progress("laying the skin flat")
    template = template_of(prepared, opening, day)
    progress("drawing the sheets")
    word = template_word(name)
    files: list[str] = []

    def fill(folder: Path):
        files.extend(path.name for path in write_template(template, folder, word, paper))

    owner = "" if case.path.stem == "case" else f"--{template_word(case.path.stem)}"
    folder = write_folder(results, f"template-{word}{owner}", fill)
    return WrittenTemplate(template, folder, tuple(folder / file for file in files))


_DEVICES = {"con", "prn", "aux", "nul"}.union(*({f"com{k}", f"lpt{k}"} for k in range(10)))
"""Names that Windows keeps for devices, whatever the ending of the file."""


def template_word(name: str) -> str:
    """What stands for the name of an opening in the names of its folder and files.

    Names that are plain words already stay as they are. Of all others, capitals, accents, marks and
    what is too long go, and a few digits that follow from the name keep those apart that would be
    alike then. They hang on an underscore, which no plain word has. Names of devices on Windows
    ("con") get them too.

    Examples
    --------
    >>> template_word("chin"), template_word("top best 1")
    ('chin', 'top-best-1')
    >>> template_word("oil (chin)"), template_word("oil, chin")
    ('oil-chin_314934cb', 'oil-chin_6233c1cb')
    """
    word = file_word(name)
    if word.replace("-", " ") == name and word not in _DEVICES:
        return word
    return f"{word}_{sha256(name.encode('utf-8')).hexdigest()[:8]}"


def template_of(prepared: PreparedCase, opening: Opening, day: str) -> Template:
    """Lay an opening of a prepared case flat.

    Parameters
    ----------
    prepared : PreparedCase
    opening : laid onto its surface; both sides of a mirrored pair get a template
    day : printed on the sheets

    Returns
    -------
    Template
    """
    finder, case = SkinFinder(prepared.surface), prepared.case
    both = [opening] if opening.twin is None else [replace(opening, twin=None), opening.twin]
    sides = tuple(
        TemplateSide(one, flat_opening(finder, one), tape_distances(finder, one, case.firewall))
        for one in both
    )
    return Template(
        name=opening.name,
        case_name=case.name,
        date=day,
        input_hash=input_hash(prepared),
        surface_hash=prepared.surface_hash,
        version=panelcp.__version__,
        sides=sides,
        warnings=tuple(windshield_cautions(prepared.surface, [opening])),
    )


def opening_called(
    case: Case, name: str, progress: Progress = quiet, results: Path | None = None
) -> tuple[PreparedCase, Opening]:
    """The case made ready, with only the search that is needed, and the opening of that name.

    Parameters
    ----------
    case : Case
    name : see `marking_template`
    progress : called with a short text before each step
    results : folder of all runs, where places found between the grid points are looked up

    Raises
    ------
    CaseError : no opening and no place of a search has that name
    """
    alone = replace(case, searches=(), combinations=None)
    if name in (entry.name for entry in case.openings):
        prepared = prepare_case(alone, progress)
        return prepared, next(o for o in prepared.openings if o.name == name)
    fitting = [entry for entry in case.searches if name.startswith(f"{entry.region.name} ")]
    if any(name.startswith(f"{entry.region.name} best ") for entry in fitting):
        place = found_place(case, name, results)
        prepared = prepare_case(alone, progress)
        return prepared, opening_of(place, SkinFinder(prepared.surface))
    places: dict[str, Opening] = {}
    if fitting:
        prepared = prepare_case(replace(alone, searches=tuple(fitting)), progress)
        found = (*prepared.single_candidates, *prepared.candidates)
        places = {opening.name: opening for opening in found}
        if name in places:
            return prepared, places[name]
    raise CaseError(_unknown(case, name, places))


def found_place(case: Case, name: str, results: Path | None) -> dict:
    """A place found between the grid points, as the results of a run of this very case have it.

    Raises
    ------
    CaseError : no results of this case as it stands now, or no such place in them
    """
    word = hash_of_inputs(case, surface_hash(case))
    files = [] if results is None else [results / f"{kind}-{word}" for kind in ("run", "rank")]
    files = [folder / "summary.json" for folder in files if (folder / "summary.json").is_file()]
    if not files:
        raise CaseError(
            f"{case.path.name}: {name!r} was found between the grid points of its search, so its "
            f"place stands only in the results of a run, and there are none of this case as it "
            f"stands now under {results}; run it first: panelcp run {case.path.name}"
        )
    try:
        places = json.loads(files[0].read_text(encoding="utf-8"))["places"]
        by_name = {place["name"]: place for place in places}
    except (OSError, ValueError, KeyError, TypeError):
        raise CaseError(f"{files[0]}: cannot be read; run the case again") from None
    if name in by_name:
        return by_name[name]
    near = get_close_matches(name, by_name, n=1, cutoff=0.6)
    hint = f"did you mean {near[0]!r}? " if near else ""
    it = "It" if hint else "it"
    raise CaseError(
        f"{case.path.name}: the report shows no place called {name!r}; {hint}{it} shows "
        f"{', '.join(by_name)}. Raise 'best' in [report] to see more"
    )


def _unknown(case: Case, name: str, places: dict[str, Opening]) -> str:
    named = [entry.name for entry in case.openings]
    near = get_close_matches(name, [*named, *places], n=1, cutoff=0.6)
    hint = f"did you mean {near[0]!r}? " if near else ""
    it = "It" if hint else "it"
    searches = ", ".join(f"'{entry.region.name} 1'" for entry in case.searches)
    has = f"openings: {', '.join(named)}" if named else "no [[opening]]"
    grid = f"; places of its searches: {searches}, ..." if searches else ""
    return f"{case.path.name}: no opening is called {name!r}; {hint}{it} has {has}{grid}"

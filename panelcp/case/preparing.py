"""A case made ready for the solver: its surface taken in, its openings laid onto the skin."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass

from panelcp.case.reading import Case, region_index
from panelcp.display import block, counted, facts, line
from panelcp.errors import CaseError, PanelcpError
from panelcp.placement.candidates import SearchResult, search
from panelcp.placement.combination_places import require_named_apart
from panelcp.placement.rules import overlapping_openings
from panelcp.quantity import UncertainValue
from panelcp.report.contents import place_line
from panelcp.surface.formats import companion_files
from panelcp.surface.intake import load_file, surface_from_parts, with_fit_panels
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import Opening, lay_opening
from panelcp.surface.parts import joined_parts
from panelcp.surface.proposals import require_stated
from panelcp.surface.rays import SkinFinder

Progress = Callable[[str], None]
PANELS_ACROSS = 6
"""Panels over the smaller side of an opening, where the surface is panelled anew."""

ROUND_OPENING = 0.75
"""The small panels reach this many times the larger side of an opening from its centre."""


@dataclass(frozen=True, eq=False)
class PreparedCase:
    """A case whose openings lie on its surface; nothing is solved yet.

    Attributes
    ----------
    case : Case
    surface : SurfaceMesh with the regions of the case
    surface_hash : of the bytes of the mesh file
    openings : those the case names
    searches : results of its search regions
    recovery : name of every opening -> recovery fraction
    """

    case: Case
    surface: SurfaceMesh
    surface_hash: str
    openings: tuple[Opening, ...]
    searches: tuple[SearchResult, ...]
    recovery: dict[str, UncertainValue]

    def __repr__(self):
        return (
            f"PreparedCase({self.case.name!r}, "
            f"{counted(len(self.case.conditions), 'condition')}, "
            f"{counted(self.surface.n_panels, 'panel')}, "
            f"{counted(len(self.openings), 'opening')}, "
            f"{counted(len(self.candidates), 'searched place')})"
        )

    def _repr_html_(self) -> str:
        case = self.case
        deciding = sum(condition.decides for condition in case.conditions)
        around = case.surroundings
        given = [name for name in ("propeller", "wing") if getattr(around, name) is not None]
        names = ", ".join(condition.name for condition in case.conditions)
        rows = [
            ("case", str(case.path)),
            ("surface", f"{case.surface_path.name}: {self._surface_words()}"),
            ("conditions", f"{len(case.conditions)}, of which {deciding} decide: {names}"),
            *(("opening", self._opening_words(opening)) for opening in self.openings),
            *(("search", found.line().removeprefix("search ")) for found in self.searches),
            ("no-cut zones", ", ".join(zone.name for zone in case.zones)),
            ("air", ", ".join(given) or "no propeller, no wing"),
            ("cooling network", self._network_words()),
            ("combinations", "" if case.combinations is None else "inlets and exits on one bay"),
        ]
        return block(facts(case.name, rows), line("Nothing is solved yet: run_case solves it."))

    def _surface_words(self) -> str:
        length, width, height = self.surface.size
        return (
            f"{length:.2f} m long, {width:.2f} m wide, {height:.2f} m high, "
            f"{counted(self.surface.n_panels, 'panel')}"
        )

    def _opening_words(self, opening: Opening) -> str:
        return (
            f"{opening.name}: {opening.use}, {opening.kind}, {place_line(opening)}, "
            f"{1e3 * opening.length:.0f} × {1e3 * opening.width:.0f} mm, recovery "
            f"{self.recovery[opening.name]}"
        )

    def _network_words(self) -> str:
        parts = self.case.installation
        if parts is None:
            return "none: the case names no cores"
        groups = (("core", parts.cores), ("duct", parts.ducts), ("fan", parts.fans))
        found = [counted(len(group), word) for word, group in (*groups, ("leak", parts.leaks))]
        return ", ".join(found)

    @property
    def candidates(self) -> list[Opening]:
        """Openings that the searches have found; mirrored pairs are one opening."""
        return [opening for found in self.searches for opening in found.places]

    @property
    def single_candidates(self) -> list[Opening]:
        """The same, right and left each alone."""
        return [opening for found in self.searches for opening in found.openings]


def quiet(text: str):
    """Progress that says nothing."""


def prepare_case(case: Case, progress: Progress = quiet) -> PreparedCase:
    """Read the surface of a case and lay its openings and candidates onto it.

    Parameters
    ----------
    case : Case
    progress : called with a short text before each step

    Returns
    -------
    PreparedCase

    Raises
    ------
    SurfaceError : the surface cannot be used
    CaseError : openings, regions, searches or a propeller that do not fit the surface, all listed
    """
    mistakes: list[str] = []
    surface = _named_regions(case, panels_of_case(case, progress), mistakes)
    _check_place(case, surface, mistakes)
    progress("laying openings onto the skin")
    finder = SkinFinder(surface)
    openings = lay_openings(case, finder, mistakes)
    mistakes += overlapping_openings(openings)
    _check_bay(case, openings, mistakes)
    _check_firewall(case, surface, mistakes)
    _check_sections(case, surface, mistakes)
    searches = _run_searches(case, finder, openings, mistakes)
    if mistakes:
        count = len(mistakes)
        does = "does" if count == 1 else "do"
        title = f"{case.path.name}: {count} of its entries {does} not fit the surface"
        raise CaseError("\n  ".join([title, *mistakes]))
    recovery = {entry.name: entry.recovery for entry in case.openings}
    for entry, found in zip(case.searches, searches, strict=True):
        recovery |= {o.name: entry.recovery for o in (*found.openings, *found.places)}
    return PreparedCase(
        case=case,
        surface=surface,
        surface_hash=surface_hash(case),
        openings=tuple(openings),
        searches=tuple(searches),
        recovery=recovery,
    )


def _check_place(case: Case, surface: SurfaceMesh, mistakes: list[str]):
    """Note a propeller inside the body, behind the cowl, or in the ground."""
    try:
        case.surroundings.check_place(surface, case.conditions)
    except PanelcpError as error:
        mistakes.append(str(error))


def panels_of_case(case: Case, progress: Progress = quiet) -> SurfaceMesh:
    """Closed surface of a case, mended, and panelled anew where it must be.

    Where it is panelled anew, the outlines of the openings become edges of panels, which are
    smaller there.

    Parameters
    ----------
    case : Case
    progress : called with a short text before each step

    Returns
    -------
    SurfaceMesh

    Raises
    ------
    SurfaceError : the surface cannot be used
    """
    name = case.surface_path.name
    progress(f"reading {name}")
    try:
        parts = load_file(case.surface_path, case.intake)
    except PanelcpError as error:
        raise type(error)(f"{case.path.name}: file in [surface]: {error}") from None
    if case.unit is None or case.axes is None:
        _propose_unit_and_axes(case, parts)
    surface = surface_from_parts(parts, case.intake, name, progress)
    openings = lay_openings(case, SkinFinder(surface), [])
    outlines = [opening.outline[[*range(len(opening.outline)), 0]] for opening in openings]
    finer = [
        (
            opening.centre,
            ROUND_OPENING * max(opening.length, opening.width),
            min(opening.length, opening.width) / PANELS_ACROSS,
        )
        for opening in openings
    ]
    try:
        return with_fit_panels(surface, case.intake, progress, outlines, finer)
    except PanelcpError as error:
        raise type(error)(f"{name}: {error}") from None


def _propose_unit_and_axes(case: Case, parts):
    """Stop, with a proposal from size and shape."""
    try:
        require_stated(*joined_parts(parts), parts[0].unit, case.unit, case.axes)
    except PanelcpError as error:
        raise type(error)(f"{case.path.name}: {error}") from None


def _named_regions(case: Case, surface: SurfaceMesh, mistakes: list[str]) -> SurfaceMesh:
    try:
        return surface.with_regions(*region_index(case.regions, surface.centroids))
    except CaseError as error:
        mistakes += str(error).split("\n  ")
        return surface


def surface_hash(case: Case) -> str:
    """Hash of the bytes of the mesh file of a case, and of what belongs to it."""
    digest = hashlib.sha256()
    for path in companion_files(case.surface_path):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def lay_openings(case: Case, finder: SkinFinder, mistakes: list[str]) -> list[Opening]:
    """Openings of the case laid onto the skin; what does not fit is added to the mistakes."""
    openings = []
    for entry in case.openings:
        try:
            openings.append(
                lay_opening(
                    finder,
                    entry.name,
                    entry.centre,
                    entry.length,
                    entry.width,
                    use=entry.use,
                    kind=entry.kind,
                    shape=entry.shape,
                    turn=entry.turn,
                )
            )
        except PanelcpError as error:
            mistakes.append(str(error))
    return openings


def _check_bay(case: Case, openings: list[Opening], mistakes: list[str]):
    """Note named openings that are too near to each other to share a bay."""
    if case.combinations is None:
        return
    try:
        require_named_apart(openings, case.combinations)
    except PanelcpError as error:
        mistakes.append(str(error))


def _check_sections(case: Case, surface: SurfaceMesh, mistakes: list[str]):
    """Note cuts across that miss the body."""
    low, high = surface.bounds[:, 0]
    for station in case.report.section_stations:
        if not low < station < high:
            mistakes.append(
                f"section_stations in [report]: STA {1e3 * station:.0f} mm misses the body, which "
                f"runs from STA {1e3 * low:.0f} to {1e3 * high:.0f} mm"
            )


def _check_firewall(case: Case, surface: SurfaceMesh, mistakes: list[str]):
    """Note a firewall ahead of the body or behind it."""
    if case.firewall is None:
        return
    low, high = surface.bounds[:, 0]
    if not low < case.firewall < high:
        mistakes.append(
            f"firewall in [surface]: STA {1e3 * case.firewall:.0f} mm is not on the body, which "
            f"reaches from STA {1e3 * low:.0f} to {1e3 * high:.0f} mm"
        )


def _run_searches(
    case: Case, finder: SkinFinder, openings: list[Opening], mistakes: list[str]
) -> list[SearchResult]:
    found = []
    for entry in case.searches:
        try:
            found.append(search(finder, entry.region, case.zones, openings))
        except PanelcpError as error:
            mistakes.append(str(error))
    return found

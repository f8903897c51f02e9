"""The last pages: cautions, what is not modelled, drawing list, checklist, revision, sign-off."""

from __future__ import annotations

from panelcp.report.contents import CAUTIONS, AirContents
from panelcp.report.cooling_section import ELECTRIC
from panelcp.report.inputs_section import versions_section
from panelcp.report.paper.blocks import (
    INK,
    RULE,
    Block,
    Bullets,
    Caution,
    Drawing,
    Group,
    Heading,
    Paragraph,
    Strip,
    Stroke,
    Words,
    note,
)
from panelcp.report.paper.cooling_pages import STEAM
from panelcp.report.paper.from_html import tables_of_html
from panelcp.report.paper.grids import Cell, Table, number
from panelcp.report.paper.place_pages import tape_words
from panelcp.report.paper.registry import PaperParts
from panelcp.report.paper.words import IN2, INCH, inches, told
from panelcp.report.revisions import differences

MORE_CAUTIONS = (
    "Glass of acrylic is not fire resistant. An older rule for light aeroplanes asked for "
    "fire-resistant skin for 24 in (610 mm) behind an opening of the engine cowl, and for "
    "fireproof skin where exhaust can strike (14 CFR 23.1193(d) and (e), before 2017, from "
    "memory).",
    "A tube, hose or wire through the firewall is a hole in it: every one needs a seal that "
    "stands the fire.",
    "A clear prediction at a cabin opening never replaces the carbon monoxide detector: leaks of "
    "the exhaust, gusts and gaps are not in it.",
    "After work on pitot or static lines look for leaks before flight: a leaking joint misleads "
    "the pilot.",
    STEAM,
    ELECTRIC,
    "Tests on the ground: chocks, a line nobody steps over in front of the propeller, and "
    "somebody outside who can stop the test.",
    "Plan drains for rain and spilt fluid; a vent on top wants a cover when parked.",
    "Tubes and rakes outside change weight, balance, vibration and the airspeed that is shown.",
    "Readings are recorded by themselves, or by a second person, never by the pilot near the "
    "ground. Beyond the speed, weight, height and temperature that were tested nothing is proved.",
)
"""Beside CAUTIONS."""

DOCUMENTS = (
    (
        "Amateur-built aircraft",
        "14 CFR 21.191(g); AC 20-27",
        "rules of the country: permit to fly and its national association (CAP 733, CAP 659), "
        "Airworthiness Manual chapter 549, AC 21.4 and AC 21.10, part 21 special category",
    ),
    ("Planning of flight tests", "AC 90-89", "national equivalents"),
    ("Workmanship and repair", "AC 43.13-1 and -2", "often accepted elsewhere too"),
    ("Methods of flight test", "AC 23-8", "guidance to CS-23, CS-VLA, CS-22"),
    ("Fire tests", "AC 20-135", "national equivalents"),
    ("Light-sport design", "ASTM F2245 and the standards on powerplants", "CS-LSA"),
    (
        "Change of a type-certificated aircraft",
        "not covered here: needs the proper approval",
        "the same",
    ),
)
"""Subject, in the US, elsewhere; from general knowledge, to be looked up in the current issue."""

CHECKLIST = (
    (
        "Openings",
        (
            "drawings of the openings, with position and area, given to the inspector",
            "places of no cutting marked on the cowl before the first hole",
        ),
    ),
    (
        "Coolant and oil",
        (
            "hoses: material, beads, clamps, routing clear of exhaust and edges",
            "steam of a failed hose or clamp kept from people, firewall seals and vents",
            "air locks: high points bled, header tank above engine and cores",
            "header tank: room to expand, cap pressure, relief led away",
            "boiling after shutdown, at the cap pressure and the highest field",
            "drains of coolant and oil, and where they drip",
            "mounts of radiator, coolers: vibration, thermal growth, chafing",
        ),
    ),
    (
        "Fire and exhaust",
        (
            "firewall: seals, every penetration, fire resistance",
            "exhaust: joints and flanges tight, clearance to skin, hoses, wires; shields",
            "skin near exhaust and openings: material, finish, softening of the resin",
            "drain holes of the cowl, away from exhaust",
            "oil mist, breather: outlets not ahead of windshield or fresh-air inlets",
            "vapour lock of fuel lines in the hot bay after shutdown",
        ),
    ),
    (
        "Structure",
        (
            "strength of every cut-out, radii of corners, edges and core closed out",
            "distance of cut-outs to latches, hinges, bearers and joints",
            "latches, hinges, flaps under air load; lifting of the cowl in flight",
            "actuation of flaps, and what happens if they stick",
            "seals of ducts, baffles and joints looked at",
        ),
    ),
    (
        "Electrics",
        (
            "fan: direction, wire size, fuse, switch, load against alternator margin",
            "sensors and indications of coolant, oil and bay temperature",
            "no sparks near fuel vapour",
        ),
    ),
    (
        "Rain and ground",
        (
            "cover against rain and animals for openings on top",
            "belts, sensors, electrics below openings on top kept dry, with a drain",
            "hot air swallowed again: inlet against outside air, in a tail wind",
        ),
    ),
    (
        "Measuring",
        (
            "leak test of tubes, taps flush and off steps, reference open as planned",
            "error of the airspeed known; readings repeated, scatter written down",
        ),
    ),
    (
        "People and papers",
        (
            "active carbon monoxide detector fitted, tested; ppm in every condition",
            "weight and balance with the change",
            "placards and limits shown to the pilot",
            "test plan: cards, limits, stop rules, places to land, who flies, reads",
            "kept for good: case file, surface file, this report; its warnings read",
            "entry in the log in the owner's own words",
        ),
    ),
)
"""What is not computed here and must be looked at by people."""

RECORD_COLUMNS = (
    ("Looked at", 58.0),
    ("Done", 5.5),
    ("Date", 8.5),
    ("By", 7.0),
    ("Found, reference, not needed", 28.0),
)
"""Title and part of the width of the columns of the checklist."""

RECORD_ROW, OWN_LINES = 18.0, 3
"""Points of a line to be filled in by hand; lines for what is not in the list."""

REMARK_LINES = 6

LIMITS = (
    "The signatures say that this report was read and that the points above were looked at. This "
    "is no finding of compliance, no approval and no release to flight."
)


def cautions_blocks(parts: PaperParts) -> list[Block]:
    """All cautions once more, and the documents that govern."""
    return [
        Bullets((*CAUTIONS, *MORE_CAUTIONS), "number", 8.5, above=1.2),
        Heading("Documents that govern", 2),
        Table(("Subject", "United States", "Elsewhere"), DOCUMENTS),
        note(
            "General pointers, some from memory: look up the current issue, and ask the authority. "
            "They rule over anything in this report."
        ),
    ]


def not_modelled_blocks(parts: PaperParts) -> list[Block]:
    """What the numbers leave out."""
    return [
        Bullets(tuple(parts.summary["not_modelled"]), size=8.5, above=1.2),
        Caution("What is left out may decide. Measure before and after every change."),
    ]


# ----------------------------------------------------------------------------- drawing list


def listed_openings(contents: AirContents) -> list[tuple[str, object]]:
    """Openings of the case and of the short list, each once, with what the maps call them."""
    places = {}
    for number_, pair in enumerate(contents.short_list, start=1):
        places.setdefault(contents.ranking.exit(pair).name, f"place {number_}")
    found = {o.name: o for o in contents.openings.openings}
    for pair in contents.short_list:
        for opening in (contents.ranking.exit(pair), contents.ranking.inlet(pair)):
            found.setdefault(opening.name, opening)
    given = {o.name for o in contents.openings.openings}
    rows = []
    for name, opening in found.items():
        word = "case" if name in given else "found"
        rows.append((f"{word}, {places[name]}" if name in places else word, opening))
    return rows


PROPOSALS = "Places found: proposals, each with what stands in its card; cross out what is not cut"
"""Row between the openings of the case and the places found."""

DRAWING_COLUMNS = (
    ("No.", True, 2.6),
    ("Opening", False, 7.2),
    ("From", False, 5.0),
    ("Use, kind", False, 7.6),
    ("Along × across, mm", True, 5.4),
    ("in", True, 5.4),
    ("cm²", True, 3.2),
    ("in²", True, 4.2),
    ("Corner radius", False, 5.6),
    ("STA, mm (in)", True, 5.6),
    ("BL, mm (in)", True, 5.8),
    ("WL, mm (in)", True, 5.8),
    ("Along the skin", False, 20.8),
    ("Template", False, 13.7),
    ("Material, finish near exhaust", False, 7.2),
    ("Done", False, 3.8),
)
"""Title, whether set to the right, part of the width."""


def drawing_list_blocks(parts: PaperParts) -> list[Block]:
    """Every opening with size, place and the command of its template."""
    contents = parts.contents
    titles, parts_of_width = [], []
    for title, right, part in DRAWING_COLUMNS:
        titles.append(number(title, bold=True) if right else title)
        parts_of_width.append(part)
    listed = listed_openings(contents)
    if not listed:
        return []
    rows = [_drawing_row(contents, k, *one) for k, one in enumerate(listed, start=1)]
    first = next((k for k, (word, _) in enumerate(listed) if word.startswith("found")), None)
    if first is not None:
        rows.insert(first, (Cell(PROPOSALS, bold=True, span=len(DRAWING_COLUMNS)),))
    return [
        Caution(CAUTIONS[2]),
        Table(
            tuple(titles),
            tuple(rows),
            size=7.0,
            least_height=22.0,
            parts=tuple(parts_of_width),
        ),
        note(
            "The first size runs along the skin with the air (upward on a face that looks "
            "forward), the second across. "
            "Centres lie on the skin: STA aft, BL to the right wing, WL up, from the datum of the "
            "case. Areas are measured on the skin; that of a pair counts both. The designer gives "
            "the corner radii. CASE is the file of the case; a template is printed at 100 % and "
            "its bars are measured before cutting. "
            "Places found are proposals: what is not cut is not drawn."
        ),
    ]


def _drawing_row(contents: AirContents, k: int, word: str, opening):
    length, width = opening.length, opening.width
    radius = "none, oval" if opening.shape == "oval" else "to be given"
    twin = "" if opening.twin is None else "; and mirror image"
    twin += f"; turned {opening.turn:.0f}°" if opening.turn else ""
    return (
        number(str(k)),
        opening.name,
        word,
        f"{opening.use}, {opening.kind}{twin}",
        number(_outline(1e3 * length, 1e3 * width, 0)),
        number(_outline(length / INCH, width / INCH, 2)),
        number(told(1e4 * opening.area)),
        number(told(opening.area / IN2, 1)),
        radius,
        *(number(f"{told(1e3 * x)} ({inches(x)})") for x in opening.centre),
        tape_words(contents, opening.name),
        f'panelcp template CASE "{opening.name}"',
        "",
        "",
    )


def _outline(length: float, width: float, digits: int) -> str:
    return f"{length:.{digits}f} × {width:.{digits}f}"


# ------------------------------------------------------------------------ checklist, revision


def checklist_blocks(parts: PaperParts) -> list[Block]:
    """What is not computed, as a record to be filled in."""
    blanks = ("",) * (len(RECORD_COLUMNS) - 2)
    rows: list[tuple[Cell | str, ...]] = []
    for title, texts in (*CHECKLIST, ("Others", ("",) * OWN_LINES)):
        rows.append((Cell(title, bold=True, span=len(RECORD_COLUMNS)),))
        rows += [(text, Cell(box=True), *blanks) for text in texts]
    return [
        Paragraph(
            "None of this is computed. Tick a line when a person has looked at it, with date and "
            "initials; write beside it what was found, its reference, or that it does not apply."
        ),
        Table(
            tuple(title for title, _ in RECORD_COLUMNS),
            tuple(rows),
            size=7.4,
            least_height=RECORD_ROW,
            parts=tuple(part for _, part in RECORD_COLUMNS),
            upright=True,
        ),
    ]


def revision_blocks(parts: PaperParts) -> list[Block]:
    """What is not as in the report before."""
    revision = parts.revision
    if not revision.previous:
        return [Paragraph(f"Revision {revision.number}: first report of this case.")]
    day = f"{revision.previous_date}, " if revision.previous_date else ""
    title = f"Since revision {revision.previous_number} ({day}inputs {revision.previous})"
    if revision.previous_summary is None:
        text = "The results of that revision are not there any more, so nothing can be compared."
        return [Paragraph(title, bold=True), Paragraph(text)]
    found = differences(revision.previous_summary, parts.summary)
    if not found:
        text = "Nothing that is compared differs: answers, margins, warnings, inputs, surface."
        return [Paragraph(title, bold=True), Paragraph(text)]
    rows = tuple((one.what, one.before, one.now) for one in found)
    return [Paragraph(title, bold=True), Table(("What", "Before", "Now"), rows)]


def versions_blocks(parts: PaperParts) -> list[Block]:
    """Versions and hashes, and the lines to be signed."""
    return [
        *tables_of_html(versions_section(parts.contents)),
        note(
            "Runs with the same hash of the inputs give the same numbers; all of them stand in "
            f"{'summary' if parts.is_ranked else 'pressures'}.json beside this report. Versions "
            "of the language and of its libraries are left out, so that the same inputs give the "
            "same file."
        ),
    ]


def sign_off_blocks(parts: PaperParts) -> list[Block]:
    """Blank lines for those who prepared and checked it."""
    return [
        Group((Caution(LIMITS, "Limits of the sign-off", strong=True), Drawing(_signatures))),
        Group((Heading("Remarks of the inspector or adviser", 2), Drawing(_empty_lines))),
    ]


def _empty_lines(width: float) -> list[Strip]:
    """Lines to write on by hand."""
    line = Stroke(((0.0, 20.0), (width, 20.0)), 0.5, RULE)
    return [Strip(22.0, (line,)) for _ in range(REMARK_LINES)]


def _signatures(width: float) -> list[Strip]:
    found = []
    for who in ("Prepared by", "Checked by"):
        items, x = [Words(0.0, 34.0, who, 9.0, True)], 84.0
        for title, share in (("name", 0.36), ("date", 0.2), ("signature", 0.44)):
            end = x + share * (width - 84.0) - 10.0
            items += [
                Stroke(((x, 36.0), (end, 36.0)), 0.7, INK),
                Words(x, 46.0, title, 7.8),
            ]
            x = end + 10.0
        found.append(Strip(56.0, tuple(items), joined=who == "Prepared by"))
    return found

"""Ready arrangements of inlets and cores: ducts that need nothing but the cores."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from panelcp.case.schema import CaseText
from panelcp.cooling.diffusers import loss_of_effectiveness
from panelcp.cooling.ducts import contraction_loss
from panelcp.cooling.installation import BAY, Core, Duct, Loss, Port
from panelcp.quantity import UncertainValue

AS_GIVEN, ONE_CORE, DIVIDED, TWO_INLETS = (
    "as given",
    "one inlet, one core",
    "one inlet, divided",
    "two inlets",
)
ARRANGEMENTS = (AS_GIVEN, ONE_CORE, DIVIDED, TWO_INLETS)
CONE = 45.0
"""deg, included angle with which a duct narrows (common practice)."""
EVEN = 1.05
"""Area ratio up to which a duct neither widens nor narrows."""
SHORT_DUCT = UncertainValue(
    0.05, 0.02, 0.10, "memory", "short, even duct between an inlet and a core", "number"
)


@dataclass(frozen=True, eq=False)
class Arranged:
    """What a ready arrangement makes.

    Attributes
    ----------
    ducts, cores : with their places
    notes : what was taken for granted
    """

    ducts: list[Duct]
    cores: list[Core]
    notes: list[str]


def arranged(
    case_text: CaseText,
    arrangement: str,
    ports: Sequence[Port],
    cores: Sequence[Core],
    effectiveness: UncertainValue,
    exits_apart: bool,
) -> Arranged | None:
    """Ducts of a ready arrangement; None with a mistake, which is added to the text's.

    Parameters
    ----------
    case_text : CaseText
    arrangement : one of `ARRANGEMENTS` but the first
    ports : inlets and exits that take part, in the order in which the case names them
    cores : at their own names
    effectiveness : of the diffusers
    exits_apart : every core has its own exit, in the order of both; else all share the bay
    """
    inlets = [port for port in ports if port.use == "inlet"]
    exits = [port for port in ports if port.use == "exit"]
    groups = _groups(case_text, arrangement, inlets, cores)
    if exits_apart and len(exits) != len(cores):
        names = ", ".join(port.name for port in exits) or "none"
        message = (
            f"{len(cores)} cores with exits of their own need as many exits; there are "
            f"{len(exits)} ({names}): name them in exits, in the order of the cores"
        )
        case_text.add("cooling", 0, "exits_apart", message)
    if case_text.any_wrong("cooling"):
        return None
    ducts, notes = [], []
    for inlet, group in groups:
        total = sum(core.face_area for core in group)
        for core in group:
            duct, note = _duct(inlet, core, core.face_area / total, effectiveness)
            ducts.append(duct)
            notes.append(note)
    ends = [port.name for port in exits] if exits_apart else [BAY] * len(cores)
    placed = [replace(core, end=end) for core, end in zip(cores, ends, strict=True)]
    if exits_apart:
        pairs = "; ".join(f"{core.name} to {core.end}" for core in placed)
        notes.append(f"every core has an exit of its own: {pairs}")
    return Arranged(ducts, placed, notes)


def _groups(case_text, arrangement, inlets, cores) -> list[tuple[Port, list[Core]]]:
    """Every inlet with its cores."""
    names = ", ".join(port.name for port in inlets) or "none"
    wanted = 2 if arrangement == TWO_INLETS else 1
    if len(inlets) != wanted:
        message = (
            f'"{arrangement}" needs {wanted} inlet{"s" if wanted > 1 else ""}; there are '
            f"{len(inlets)} ({names}): name them in inlets"
        )
        case_text.add("cooling", 0, "arrangement", message)
        return []
    if arrangement == ONE_CORE and len(cores) != 1:
        message = f'there are {len(cores)} cores: take "{DIVIDED}"'
        case_text.add("cooling", 0, "arrangement", message)
    if arrangement == DIVIDED and len(cores) < 2:
        message = f'there is one core, so nothing is divided: take "{ONE_CORE}"'
        case_text.add("cooling", 0, "arrangement", message)
    if arrangement != TWO_INLETS:
        return [(inlets[0], list(cores))]
    coolant = [core for core in cores if core.role == "coolant"]
    others = [core for core in cores if core.role != "coolant"]
    if not coolant or not others:
        what = "of coolant" if not coolant else "of oil or charge air"
        message = (
            f"the first inlet feeds the coolant's cores, the second all others; none is {what}"
        )
        case_text.add("cooling", 0, "arrangement", message)
    return [(inlets[0], coolant), (inlets[1], others)]


def _duct(inlet: Port, core: Core, share: float, effectiveness) -> tuple[Duct, str]:
    """Duct from a share of an inlet to the face of a core."""
    area, face = share * inlet.area, core.face_area
    ratio = face / area
    if ratio > EVEN:
        what = f"diffuser, area ratio {ratio:.3g}"
        loss = loss_of_effectiveness(ratio, effectiveness)
        part = Loss(what, loss, area, contraction_loss(1.0 / ratio, CONE))
    elif ratio < 1.0 / EVEN:
        what = f"contraction, area ratio {ratio:.3g}"
        back = loss_of_effectiveness(1.0 / ratio, effectiveness)
        part = Loss(what, contraction_loss(ratio, CONE), face, back)
    else:
        what, part = "even duct", Loss("even duct", SHORT_DUCT, area)
    name = f"duct to {core.name}"
    part_of, end = "", ""
    if share < 1.0 - 1e-9:
        part_of, end = f"{100.0 * share:.3g} % of ", "; the inlet is shared by face area"
    note = (
        f"{name}: {what}, from {part_of}{inlet.name} ({1e4 * area:.4g} cm2) to the face "
        f"({1e4 * face:.4g} cm2){end}"
    )
    return Duct(name, inlet.name, core.name, (part,)), note


def require_plain(case_text: CaseText, arrangement: str):
    """Note tables and entries that a ready arrangement makes itself."""
    if "duct" in case_text.raw:
        message = f'"{arrangement}" makes its own ducts: leave [[duct]] out, or take "{AS_GIVEN}"'
        case_text.add("cooling", 0, "arrangement", message)
    for number, row in enumerate(case_text.raw.get("core", []), start=1):
        for key in ("from", "to"):
            if key in row:
                message = f'arrangement = "{arrangement}" says where it stands; leave {key} out'
                case_text.add("core", number, key, message)

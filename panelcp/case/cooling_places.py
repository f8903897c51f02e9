"""Where the parts of an installation join, and what is wrong with that."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from panelcp.case.schema import CaseText
from panelcp.cooling.installation import BAY, OUTSIDE, Core, Duct, FanUnit, Leak, Port


@dataclass(frozen=True, eq=False)
class Parts:
    """Parts of an installation before it is put together, in the order of their tables.

    Attributes
    ----------
    ports, ducts, cores, fans, leaks : see `Installation`
    between : names of places between a core and a fan at it
    """

    ports: Sequence[Port]
    ducts: Sequence[Duct]
    cores: Sequence[Core]
    fans: Sequence[FanUnit]
    leaks: Sequence[Leak]
    between: Sequence[str] = ()

    def ways(self) -> list[tuple[str, int, Duct | Core | FanUnit]]:
        """Table, number in it and part of all that is meant to lead air."""
        tables = {"duct": self.ducts, "core": self.cores, "fan": self.fans}
        return [(t, n, part) for t, parts in tables.items() for n, part in enumerate(parts, 1)]

    def joins(self) -> list[tuple[str, int, Duct | Core | FanUnit | Leak]]:
        """The same, and the leaks."""
        return [*self.ways(), *(("leak", n, leak) for n, leak in enumerate(self.leaks, 1))]

    @property
    def exits_on_bay(self) -> list[Port]:
        """Exits that nothing leads to: they open from the bay."""
        ends = {part.end for _, _, part in self.joins()}
        return [port for port in self.ports if port.use == "exit" and port.name not in ends]


def check_names(case_text: CaseText, openings: Iterable[str], tables: dict[str, Sequence]):
    """Note names that stand twice, in one table or in several, and those that are taken.

    Parameters
    ----------
    case_text : CaseText
    openings : names of all openings
    tables : table -> its records with names, in the order of the table
    """
    owner = dict.fromkeys(openings, "an opening")
    for table, parts in tables.items():
        for number, part in enumerate(parts, start=1):
            if part.name in (BAY, OUTSIDE):
                message = f"{part.name!r} is the name of a place that is always there"
                case_text.add(table, number, "name", f"{message}; choose another name")
            elif part.name in owner:
                message = f"{part.name!r} is already the name of {owner[part.name]}"
                case_text.add(table, number, "name", f"{message}; choose another name")
            owner.setdefault(part.name, f"{table} {number}")


def check_places(case_text: CaseText, parts: Parts, uses: dict[str, str]):
    """Note ends that are no places, dead ends, and cores without an inlet or an exit.

    Parameters
    ----------
    case_text : CaseText
    parts : Parts
    uses : name of every opening of the case -> its use
    """
    before = len(case_text.mistakes)
    port_use = {port.name: port.use for port in parts.ports}
    for table, number, part in parts.joins():
        _check_ends(case_text, table, number, part, port_use, uses)
    if len(case_text.mistakes) > before:
        return
    _check_dead_ends(case_text, parts, port_use, uses)
    if len(case_text.mistakes) > before:
        return
    _check_ways_through(case_text, parts)


def _check_ends(case_text, table, number, part, port_use, uses):
    """Note ends that make no sense by themselves."""
    if part.start == part.end:
        case_text.add(table, number, "to", f"leads from {part.start!r} to the same place")
    for key, name in (("from", part.start), ("to", part.end)):
        if name in uses and name not in port_use:
            message = f"the opening {name!r} with use = {uses[name]!r} takes no part in the cooling"
            case_text.add(table, number, key, f"{message}; see inlets and exits in [cooling]")
    if table == "leak":
        if port_use.get(part.end) == "exit":
            message = f"a leak to the exit {part.end!r}: give the place inside that it leads to"
            case_text.add(table, number, "to", message)
        return
    if port_use.get(part.start) == "exit":
        message = f"{part.start!r} is an exit: air leaves there; turn from and to round"
        case_text.add(table, number, "from", message)
    if port_use.get(part.end) == "inlet":
        message = f"{part.end!r} is an inlet: air comes from there; turn from and to round"
        case_text.add(table, number, "to", message)


def _check_dead_ends(case_text, parts: Parts, port_use, uses):
    """Note places that nothing leads to, or that nothing leaves."""
    ways = parts.ways()
    into = {part.end for _, _, part in ways} | {OUTSIDE}
    out = {part.start for _, _, part in ways} | {OUTSIDE}
    into |= {name for name, use in port_use.items() if use == "inlet"}
    out |= {name for name, use in port_use.items() if use == "exit"}
    out |= {BAY} if parts.exits_on_bay else set()
    leaks_out = {leak.start for leak in parts.leaks}
    sources = into | {name for name, use in uses.items() if use in ("inlet", "both")}
    sinks = out | {BAY} | {name for name, use in uses.items() if use in ("exit", "both")}
    told: set[str] = set()
    for table, number, part in ways:
        if part.start not in into and part.start not in told:
            told.add(part.start)
            if table == "core" and part.start == part.name:
                message = (
                    f"nothing leads to it: give a [[duct]] with to = {part.name!r}, or say from "
                    "which opening or place it takes its air (from = ...), or take a ready "
                    "arrangement in [cooling]"
                )
            else:
                message = f"nothing leads to {part.start!r}{_near(part.start, parts, sources)}"
            case_text.add(table, number, "from", message)
        if part.end not in out | leaks_out and part.end not in told:
            told.add(part.end)
            message = f"nothing leaves {part.end!r}, a dead end{_near(part.end, parts, sinks)}"
            if part.end == BAY:
                message = "nothing leaves the bay: no exit opens from it; give one with use = "
                message += '"exit" to which nothing else leads'
            case_text.add(table, number, "to", message)
    known = into | out
    for number, leak in enumerate(parts.leaks, start=1):
        for key, name in (("from", leak.start), ("to", leak.end)):
            if name not in known:
                message = (
                    f"{name!r} is no opening and no place{_near(name, parts, sources | sinks)}"
                )
                case_text.add("leak", number, key, message)


def _near(name: str, parts: Parts, joined: set[str]) -> str:
    """Nearest place that would do, or what a place is."""
    near = get_close_matches(name, sorted(joined - {name}), n=1, cutoff=0.6)
    if near:
        return f"; did you mean {near[0]!r}?"
    ports = ", ".join(repr(port.name) for port in parts.ports)
    return (
        f"; it is no opening of the cooling ({ports or 'there is none'}) and no core, so it is "
        "taken for a plenum, which needs a way in and a way out"
    )


def _check_ways_through(case_text, parts: Parts):
    """Note cores that no inlet reaches or that no exit follows."""
    forward: dict[str, set[str]] = {}
    for _, _, part in parts.ways():
        forward.setdefault(part.start, set()).add(part.end)
    sources = {port.name for port in parts.ports if port.use == "inlet"} | {OUTSIDE}
    sinks = {port.name for port in parts.ports if port.use == "exit"} | {OUTSIDE}
    if parts.exits_on_bay:
        sinks.add(BAY)
    fed = _reached(sources, forward)
    for number, core in enumerate(parts.cores, start=1):
        if core.start not in fed:
            message = f"no inlet leads to {core.start!r}, from where it takes its air"
            case_text.add("core", number, "from", message)
        elif not _reached({core.end}, forward) & sinks:
            message = f"no exit follows behind it: {core.end!r} leads nowhere outside"
            case_text.add("core", number, "to", message)


def _reached(starts: set[str], forward: dict[str, set[str]]) -> set[str]:
    found, left = set(starts), list(starts)
    while left:
        for end in forward.get(left.pop(), ()):
            if end not in found:
                found.add(end)
                left.append(end)
    return found

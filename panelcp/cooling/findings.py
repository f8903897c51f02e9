"""What a solved installation shows: where the pressure goes, and what the user must be told."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from panelcp.cooling.building import OutsideAir
from panelcp.cooling.installation import Installation, Loss
from panelcp.cooling.network import EASED, Network, NetworkResult
from panelcp.cooling.results import BudgetStep, CoolingResult

SURE, LIKELY = 0.84, 0.5
MOST_TOLD = 200.0
"""K; a steady temperature farther above its limit tells only that cooling is lost."""
MOST_MOVED = 1e-3
"""Share of the greatest flow by which one may still move when nothing is told of it."""
MOST_LOST = 0.01
"""Share of the worlds that may fail to converge before it is told."""


def element_numbers(installation: Installation, result: NetworkResult) -> dict[str, tuple]:
    """Name -> (flow kg/s, drop Pa), (n_conditions,) each; the parts of a duct are one.

    Parameters
    ----------
    installation : Installation
    result : NetworkResult of its central worlds
    """
    parts = {duct.name: [] for duct in installation.ducts}
    numbers = {}
    for e, element in enumerate(result.network.elements):
        flow, drop = result.state.mass_flow[:, e], result.state.drop[:, e]
        numbers[element.name] = flow, drop
        name = element.name.rsplit(", part ", 1)[0]
        if name in parts:
            parts[name].append((flow, drop))
    for name, rows in parts.items():
        numbers[name] = rows[0][0], sum(drop for _, drop in rows)
    return numbers


# ---- where the pressure goes -----------------------------------------------------------------


def budget_steps(
    installation: Installation, result: NetworkResult, port_pressure: np.ndarray
) -> tuple[BudgetStep, ...]:
    """Steps of the total pressure from inlet to exit along the main way through every core.

    Parameters
    ----------
    installation : Installation
    result : NetworkResult of its central worlds
    port_pressure : (n_conditions, n_ports) Pa, outside

    Returns
    -------
    tuple of BudgetStep
        Of every core: pressure outside its inlet, what is lost in every element, pressure outside
        the exit. First less all others is 0 (law of the loop). At every place the way is followed
        that carries most air, summed over the conditions.
    """
    network = result.network
    carried = np.abs(result.state.mass_flow).sum(axis=0)
    forward = result.state.mass_flow.sum(axis=0) >= 0.0
    columns = {port.name: k for k, port in enumerate(installation.ports)}
    steps = []
    for core in installation.cores:
        e = [element.name for element in network.elements].index(core.name)
        ahead = _way(network, carried, forward, e, upstream=True)
        behind = _way(network, carried, forward, e, upstream=False)
        way = [*reversed(ahead), (e, 1.0), *behind]
        first, last = (network.elements[way[k][0]].name for k in (0, -1))
        if first not in columns or last not in columns:
            continue
        steps.append(BudgetStep(core.name, f"outside {first}", port_pressure[:, columns[first]]))
        for number, sign in way:
            name, drop = network.elements[number].name, result.state.drop[:, number]
            steps.append(BudgetStep(core.name, name, sign * drop))
        steps.append(BudgetStep(core.name, f"outside {last}", port_pressure[:, columns[last]]))
    return tuple(steps)


def _way(network: Network, carried, forward, element: int, upstream: bool) -> list[tuple]:
    """(element, sign) from an element outwards to a boundary, along the most air."""
    ends = network.ends
    node = ends[element, 0 if upstream else 1]
    seen, way = {element}, []
    while not network.nodes[node].boundary:
        best, choice = -1.0, None
        for e, (start, end) in enumerate(ends):
            if e in seen or node not in (start, end):
                continue
            # upstream the air must come into the node, downstream leave it
            into = (end == node) == bool(forward[e])
            if into == upstream and carried[e] > best:
                best, choice = carried[e], e
        if choice is None:
            return []
        seen.add(choice)
        start, end = ends[choice]
        other = start if end == node else end
        along = (end == node) if upstream else (start == node)
        way.append((choice, 1.0 if along else -1.0))
        node = other
    return way


# ---- what the user must be told --------------------------------------------------------------


def sentences(result: CoolingResult, air: OutsideAir) -> tuple[str, ...]:
    """Warnings of a solved installation, the worst first."""
    return (
        *_too_hot(result),
        *_backward(result),
        *_unsolved(result),
        *_not_agreed(result),
        *_several(result),
        *_fans(result),
        *_too_cold(result),
        *_outside_tests(result),
        *_not_predicted(result, air),
        *_ducts(result.installation),
    )


def _where(result: CoolingResult, which: Iterable[bool]) -> str:
    """Names of the conditions that are marked, after how many they are."""
    names = [name for name, marked in zip(result.conditions, which, strict=True) if marked]
    word = "condition" if len(names) == 1 else "conditions"
    return f"{len(names)} {word}: {'; '.join(names)}"


def _too_hot(result: CoolingResult):
    for core in result.cores:
        hot = core.margin.value < 0.0
        if hot.any():
            worst = int(np.nanargmin(core.margin.value))
            by = -core.margin.value[worst]
            most = f"by up to {by:.0f} K" if by < MOST_TOLD else "without end: next to no air flows"
            yield f"{core.name}: {core.role} above its limit in {_where(result, hot)} ({most})"


def _backward(result: CoolingResult):
    surely, maybe, most = [], [], 0.0
    for thing in (*result.ports, *result.cores):
        if thing.reversed.any():
            surely.append(f"{thing.name} in {_few(result, thing.reversed)}")
        chance = np.where(thing.reversed, 0.0, np.nan_to_num(thing.chance_reversed))
        if (chance > 1.0 - SURE).any():
            maybe.append(f"{thing.name} in {_few(result, chance > 1.0 - SURE)}")
            most = max(most, float(chance.max()))
    if surely:
        yield f"air flows backwards through {', '.join(surely)}"
    if maybe:
        yield (
            f"air may flow backwards through {', '.join(maybe)} (chance up to {100.0 * most:.0f} %)"
        )


def _few(result: CoolingResult, which) -> str:
    """Names of the conditions that are marked, or how many they are."""
    names = [name for name, marked in zip(result.conditions, which, strict=True) if marked]
    return " and ".join(names) if len(names) < 3 else f"{len(names)} conditions"


def _unsolved(result: CoolingResult):
    lost = ~result.converged
    if lost.any():
        worst = result.residual[lost].max()
        yield (
            f"no steady state of the cooling network was found in {_where(result, lost)} (greatest "
            f"imbalance {worst:.1e}): their numbers cannot be used"
        )
    nearly_still = [start == EASED for start in result.starts]
    if any(nearly_still):
        yield (
            f"next to no air moves in {_where(result, nearly_still)}: in truth it will come and "
            "go, so the temperatures there tell no more than that cooling is lost"
        )
    if result.samples:
        share = result.lost_samples / result.samples
        many = share > MOST_LOST
        if many.any():
            yield (
                f"up to {100.0 * share.max():.0f} % of the sampled worlds have no steady state in "
                f"{_where(result, many)}; bands leave them out"
            )


def _not_agreed(result: CoolingResult):
    most = max((float(np.abs(port.flow.value).max()) for port in result.ports), default=0.0)
    if result.coupling_change > MOST_MOVED * most:
        yield (
            f"the flows and the pressures that they change outside did not agree within "
            f"{result.coupling_rounds} rounds: one flow still moves by up to "
            f"{100.0 * result.coupling_change / most:.2g} % of the greatest"
        )


def _several(result: CoolingResult):
    found = np.zeros(len(result.conditions), dtype=bool)
    for other in result.other_states:
        found[other.condition] = True
    if found.any():
        yield (
            f"more than one steady state in {_where(result, found)}: which one comes depends on "
            "how it begins; all are listed"
        )


def _fans(result: CoolingResult):
    for fan in result.fans:
        if fan.near_dip.any():
            yield (
                f"{fan.name}: runs near its stall dip in {_where(result, fan.near_dip)}; its flow "
                "and noise may jump there"
            )
        if fan.holds_back.any():
            yield (
                f"{fan.name}: running, it holds the ram air back in "
                f"{_where(result, fan.holds_back)}; switch it off there, or fit doors beside it"
            )


def _too_cold(result: CoolingResult):
    for core in result.cores:
        if core.too_cold.any():
            coldest = float(np.min(core.hot[core.too_cold])) - 273.15
            yield (
                f"{core.name}: {core.role} stays too cold in {_where(result, core.too_cold)} (down "
                f"to {coldest:.0f} degC where it leaves the engine): close flaps or cover the core "
                "in long descents"
            )


def _outside_tests(result: CoolingResult):
    parts = []
    for core in result.cores:
        where = core.outside_test & (np.abs(core.flow.value) > 0.0)
        if where.any():
            parts.append(f"{core.name} in {_few(result, where)}")
    if parts:
        yield (
            "the air is slower or faster than the pressure drop of the core was measured with: "
            + ", ".join(parts)
        )


def _not_predicted(result: CoolingResult, air: OutsideAir):
    blind = ~air.predicted
    if blind.any():
        yield (
            f"the air outside cannot be predicted in {_where(result, blind)}: flows and "
            "temperatures there only show what one guess of it would give"
        )


def _ducts(installation: Installation):
    for duct in installation.ducts:
        for part in duct.parts:
            if isinstance(part, Loss) and part.warning:
                yield f"duct {duct.name}: {part.warning}"

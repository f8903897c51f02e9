"""The cooling-air network: nodes, elements between them, and the steady flows through it.

Notes
-----
Unknown are the flows round a set of independent loops. All nodes with a given total pressure are
taken as one place outside, a tree of elements reaches every inner node from there, and every other
element closes one loop through the tree. So mass is conserved at every node by construction, also
through elements without any resistance, and only the total pressure round the loops is left to be
balanced: Newton's method with its analytic, symmetric matrix C^T diag(slope) C, once for all
worlds. Where all losses rise with the flow this is the minimum of a convex function (the sum of the
elements' integrals of pressure over flow, less what the outside supplies), whose derivative along a
step shortens the step where needed; it is reached from anywhere.

Temperatures follow the flows (upwind, mixed at the nodes); both are repeated until they agree.
Hot air may drive a flow that takes its heat away; see EXCHANGE_FLOW.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np

from panelcp.atmosphere import SEA_LEVEL_PRESSURE, SEA_LEVEL_TEMPERATURE
from panelcp.cooling.elements import LEAST_DROP, Element, ElementAir, Fan, QuadraticLaw
from panelcp.errors import NetworkError
from panelcp.surface.mesh import frozen_array

HEAT_CAPACITY = 1006.0
"""J/(kg K), of air at constant pressure near 300 K (common practice)."""
HOT = "hot, at rest"
STARTS = ("at rest", HOT, "all forward", "all backward", "random")
GIVEN, EASED = "near a given state", "from much exchange"
HOTTEST_AIR, COLDEST_AIR = 600.0, 150.0
"""K; what air in the network can be heated or cooled to at most (memory)."""
SAME_STATE = 1e-4
"""Two states are the same where no flow differs by more than this share of the largest."""
HOTTEST_FLOW = 1e-6
"""kg/s, forward through everything, from which the temperatures of the hot start follow."""
LEAST_FLOW = 1e-9
"""kg/s; flows below this, and differences of flow, are none."""
EXCHANGE_FLOW = 3e-6
"""kg/s; where no other steady state is found, slower air is let go both ways through an element, so
that temperatures do not jump where a flow turns round (ours: far less than what warm and cold air
exchange through an opening at rest)."""
_EASING = EXCHANGE_FLOW * 10.0 ** np.linspace(5.5, 0.0, 23)
_STEPS_OF_EASING, _LAST_STEPS = 6, 15
_MOST_EASED = 64
_BLOCK = 2000
_FEW = 32
_ROUNDING = 1e-15
_FIRST_TOLERANCE, _SHARE_PER_KELVIN = 1e-3, 1e-5
_MOST_PASSES = 30
_MOST_TRIALS = 14


@dataclass(frozen=True)
class Node:
    """Place in the network.

    Attributes
    ----------
    name : str
    boundary : bool, True where the total pressure is given (outside, at an opening)
    """

    name: str
    boundary: bool = False


@dataclass(frozen=True, eq=False)
class Network:
    """Nodes and the elements that join them.

    Attributes
    ----------
    nodes : tuple of Node
    elements : tuple of Element

    Raises
    ------
    NetworkError : doubled names, unknown nodes, no boundary, parts that no way leads into from a
        boundary, loops without any resistance, impossible numbers; all of them at once
    """

    nodes: tuple[Node, ...]
    elements: tuple[Element, ...]

    def __post_init__(self):
        object.__setattr__(self, "nodes", tuple(self.nodes))
        object.__setattr__(self, "elements", tuple(self.elements))
        wrong = _mistakes(self)
        if wrong:
            lines = "".join(f"\n- {line}" for line in wrong)
            raise NetworkError(f"cooling network: {len(wrong)} mistakes{lines}")

    @cached_property
    def boundaries(self) -> tuple[str, ...]:
        """Names of the nodes with a given total pressure, in the order of their columns."""
        return tuple(node.name for node in self.nodes if node.boundary)

    @cached_property
    def ends(self) -> np.ndarray:
        """(n_elements, 2) int, indices of the nodes where the elements start and end."""
        index = {node.name: k for k, node in enumerate(self.nodes)}
        pairs = [(index[e.start], index[e.end]) for e in self.elements]
        return frozen_array(np.reshape(pairs, (-1, 2)), dtype=int)

    @cached_property
    def _tree(self):
        """Elements of the tree as (element, known node, new node), outwards, and the others."""
        order = np.argsort(self._stiffness, kind="stable")
        merged = self._merged
        part = np.arange(len(self.nodes) + 1)
        chosen, chords = [], []
        for e in order:
            start, end = (part[merged[k]] for k in self.ends[e])
            (chords if start == end else chosen).append(int(e))
            part[part == end] = start
        return _outwards(chosen, self.ends, merged), sorted(chords)

    @cached_property
    def _merged(self):
        """Index of every node with all boundaries as one, the last."""
        outside = len(self.nodes)
        return [outside if node.boundary else k for k, node in enumerate(self.nodes)]

    @cached_property
    def _stiffness(self):
        """Slope of every element at 0.1 kg/s in sea-level air: the tree takes the least ones."""
        air = ElementAir.uniform()
        return np.array([float(np.mean(e.drop(0.1, air)[1])) for e in self.elements])

    @cached_property
    def loops(self) -> np.ndarray:
        """(n_elements, n_loops) of -1, 0, 1: the elements that every loop runs through."""
        tree, chords = self._tree
        way = {k: [] for k, node in enumerate(self.nodes) if node.boundary}
        for element, known, new in tree:
            forward = self.ends[element][0] == known
            way[new] = [*way[known], (element, 1.0 if forward else -1.0)]
        found = np.zeros((len(self.elements), len(chords)))
        for column, chord in enumerate(chords):
            found[chord, column] = 1.0
            for node, turn in zip(self.ends[chord], (1.0, -1.0), strict=True):
                for element, sign in way[node]:
                    found[element, column] += turn * sign
        return frozen_array(found)

    @cached_property
    def _shared(self):
        """Of every loop: its elements, and (n_loops - i, n) of -1, 0, 1, how they run through it
        and through the loops from it on."""
        rows = [np.flatnonzero(column) for column in self.loops.T]
        return [
            (at, (self.loops[at, i, None] * self.loops[at, i:]).T.copy())
            for i, at in enumerate(rows)
        ]

    @cached_property
    def dead_ends(self) -> tuple[str, ...]:
        """Names of elements that no flow is possible through: they belong to no loop."""
        still = ~np.any(self.loops, axis=1)
        return tuple(e.name for e, dead in zip(self.elements, still, strict=True) if dead)

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """What the user should know of the network, in sentences."""
        if not self.dead_ends:
            return ()
        names = ", ".join(self.dead_ends)
        return (f"no air can flow through {len(self.dead_ends)} elements (dead ends): {names}",)

    @cached_property
    def unique(self) -> bool:
        """True where only one steady state is possible: no buoyancy, no fan inside its dip."""
        fans = [e for e in self.elements if isinstance(e, Fan)]
        return all(e.resists for e in self.elements) and all(fan.monotone for fan in fans)


def _outwards(chosen, ends, merged):
    """Tree as (element, known node, new node), so that every known node comes first."""
    known, left, found = {k for k, m in enumerate(merged) if m == len(merged)}, chosen, []
    while left:
        later = []
        for e in left:
            start, end = (int(k) for k in ends[e])
            if start in known or end in known:
                pair = (start, end) if start in known else (end, start)
                found.append((e, *pair))
                known.add(pair[1])
            else:
                later.append(e)
        left = later
    return found


def _mistakes(network):
    """Texts of all that is wrong with a network."""
    nodes, elements = network.nodes, network.elements
    wrong = _doubled("node", nodes) + _doubled("element", elements)
    known = {node.name for node in nodes}
    for e in elements:
        unknown = [name for name in dict.fromkeys((e.start, e.end)) if name not in known]
        wrong += [f"element {e.name!r}: node {name!r} is unknown" for name in unknown]
        if e.start == e.end and not unknown:
            wrong.append(f"element {e.name!r} starts and ends at the same node {e.start!r}")
        wrong += [f"element {e.name!r}: {text}" for text in e.mistakes()]
    joined = [e for e in elements if {e.start, e.end} <= known and e.start != e.end]
    if not elements:
        wrong.append("there are no elements")
    if not any(node.boundary for node in nodes):
        wrong.append(
            "no node has a given total pressure; give at least one boundary (outside, an opening)"
        )
        return wrong
    return wrong + _islands(nodes, joined) + _free_loops(nodes, joined)


def _doubled(word, things):
    counts = Counter(thing.name for thing in things)
    return [f"{word} {name!r} is there {n} times" for name, n in counts.items() if n > 1]


def _parts(nodes, elements):
    """Find the part of every node, boundaries as one part, and the elements that close a loop."""
    part = {node.name: ("" if node.boundary else node.name, node.boundary) for node in nodes}
    closing = []
    for e in elements:
        start, end = part[e.start], part[e.end]
        if start == end:
            closing.append(e)
        keep, lose = (start, end) if start[1] or not end[1] else (end, start)
        part = {name: keep if own == lose else own for name, own in part.items()}
    return part, closing


def _islands(nodes, elements):
    part, _ = _parts(nodes, elements)
    islands = {}
    for name, own in part.items():
        if not own[1]:
            islands.setdefault(own, []).append(repr(name))
    return [
        f"no way leads from a boundary to {', '.join(names)}; join them to the rest or leave them "
        f"out"
        for names in islands.values()
    ]


def _free_loops(nodes, elements):
    _, closing = _parts(nodes, [e for e in elements if not e.resists])
    return [
        f"element {e.name!r} closes a loop (or a way between boundaries) without any resistance; "
        f"add the losses of the way"
        for e in closing
    ]


@dataclass(frozen=True, eq=False)
class NetworkState:
    """One steady state in every world.

    Attributes
    ----------
    start : str, one of STARTS, GIVEN or EASED, that led here
    mass_flow : (n_worlds, n_elements) float, kg/s, from start to end positive
    drop : (n_worlds, n_elements) float, Pa, fall of total pressure by the element's law
    node_pressure : (n_worlds, n_nodes) float, Pa, gauge, total
    node_temperature : (n_worlds, n_nodes) float, K
    inlet_temperature, outlet_temperature : (n_worlds, n_elements) float, K, of the air that comes
        and goes, whichever way it flows
    heat : (n_worlds, n_elements) float, W, taken up by the air; less than given where there is so
        little air that it would become hotter than the hottest air allowed
    residual : (n_worlds,) float, greatest imbalance of pressure round a loop beyond rounding, as a
        share of the pressures in it
    temperature_change : (n_worlds,) float, K, what temperatures still changed by at last
    iterations : (n_worlds,) int, steps of Newton's method, all passes together
    passes : (n_worlds,) int, solutions of the temperatures
    converged : (n_worlds,) bool
    near_dip, holds_back : (n_worlds, n_elements) bool: a fan near its stall dip; a fan that more
        air is pushed through than it would blow by itself
    """

    start: str
    mass_flow: np.ndarray
    drop: np.ndarray
    node_pressure: np.ndarray
    node_temperature: np.ndarray
    inlet_temperature: np.ndarray
    outlet_temperature: np.ndarray
    heat: np.ndarray
    residual: np.ndarray
    temperature_change: np.ndarray
    iterations: np.ndarray
    passes: np.ndarray
    converged: np.ndarray
    near_dip: np.ndarray
    holds_back: np.ndarray

    def __post_init__(self):
        for name in _arrays_of_states():
            value = getattr(self, name)
            object.__setattr__(self, name, frozen_array(value, dtype=value.dtype))


def _arrays_of_states():
    return [field.name for field in fields(NetworkState) if field.name != "start"]


def _picked(states, chosen):
    """State that takes every world from the start that was chosen for it."""
    if not np.any(chosen):
        return replace(states[0], start="chosen")
    else:
        worlds = np.arange(len(chosen))
        parts = {
            name: np.stack([getattr(state, name) for state in states])[chosen, worlds]
            for name in _arrays_of_states()
        }
    return NetworkState("chosen", **parts)


def _steady(states, heated):
    """(n_starts, n_worlds) bool, states that converged.

    Heated air at rest in which nothing moves does not count where there is another state: the least
    breath of air makes it move on.
    """
    found = np.array([state.converged for state in states])
    if not heated or len(states) == 1:
        return found
    moving = np.array([np.abs(s.mass_flow).max(axis=1, initial=0.0) > LEAST_FLOW for s in states])
    return np.where((found & moving).any(axis=0), found & moving, found)


def _distinct(states, steady):
    """(n_starts, n_worlds) bool, True where a start led to something new."""
    found = steady.copy()
    for k, state in enumerate(states):
        largest = np.abs(state.mass_flow).max(axis=1, initial=0.0)
        for earlier, before in enumerate(states[:k]):
            apart = np.abs(state.mass_flow - before.mass_flow).max(axis=1, initial=0.0)
            found[k] &= ~(found[earlier] & (apart <= SAME_STATE * largest + LEAST_FLOW))
    return found


@dataclass(frozen=True, eq=False)
class NetworkResult:
    """Steady states of a network.

    Attributes
    ----------
    network : Network
    states : tuple of NetworkState, one per start
    distinct : (n_starts, n_worlds) bool, True where the start converged to a state that none before
        it led to
    chosen : (n_worlds,) int, the start whose state is shown by `state`: the first that converged
    state : NetworkState, its `start` "chosen"
    """

    network: Network
    states: tuple[NetworkState, ...]
    distinct: np.ndarray
    chosen: np.ndarray
    state: NetworkState

    def __post_init__(self):
        object.__setattr__(self, "distinct", frozen_array(self.distinct, dtype=bool))
        object.__setattr__(self, "chosen", frozen_array(self.chosen, dtype=int))

    @property
    def n_states(self) -> np.ndarray:
        """(n_worlds,) int, number of different steady states that were found."""
        return self.distinct.sum(axis=0)

    @property
    def reversed(self) -> np.ndarray:
        """(n_worlds, n_elements) bool, True where air flows from end to start."""
        flow = self.state.mass_flow
        return flow < -1e-6 * np.abs(flow).max(axis=1, keepdims=True, initial=0.0)

    @property
    def converged(self) -> np.ndarray:
        """(n_worlds,) bool, of the chosen states."""
        return self.state.converged

    def flow(self, name: str) -> np.ndarray:
        """(n_worlds,) kg/s through one element, in the chosen states."""
        return self.state.mass_flow[:, _index(self.network.elements, name)]

    def pressure(self, name: str) -> np.ndarray:
        """(n_worlds,) Pa, gauge total pressure of one node, in the chosen states."""
        return self.state.node_pressure[:, _index(self.network.nodes, name)]

    def temperature(self, name: str) -> np.ndarray:
        """(n_worlds,) K of one node, in the chosen states."""
        return self.state.node_temperature[:, _index(self.network.nodes, name)]


def _index(things, name):
    names = [thing.name for thing in things]
    if name not in names:
        raise NetworkError(f"no {name!r} in the network; there are {', '.join(names)}")
    return names.index(name)


class _WholeHeat:
    """Heat by a function that always sees all worlds, asked for in some of them."""

    blocks = False

    def __init__(self, function, worlds, index=slice(None), seen=None):
        self._function, self._worlds, self._index = function, worlds, index
        self._seen = np.ones((2, worlds)) * [[LEAST_FLOW], [300.0]] if seen is None else seen

    def at(self, index):
        everywhere = np.arange(self._worlds)[self._index]
        return _WholeHeat(self._function, self._worlds, everywhere[index], self._seen)

    def __call__(self, size, inlet):
        worlds = np.arange(self._worlds)[self._index]
        found, left = np.empty(len(worlds)), np.arange(len(worlds))
        while len(left):
            # one world may be asked for several times
            _, now = np.unique(worlds[left], return_index=True)
            some, left = left[now], np.delete(left, now)
            self._seen[:, worlds[some]] = size[some], inlet[some]
            heat = np.broadcast_to(self._function(*self._seen), (self._worlds,))
            found[some] = heat[worlds[some]]
        return found


@dataclass(frozen=True, eq=False)
class _Task:
    """What is given to a solution.

    elements : those of the network, with the numbers of these worlds
    pressures, temperatures : (n_worlds, n_boundaries); air_pressure, outside : (n_worlds,)
    heat : dict of element index and (n_worlds,) W or a function of flow and inlet temperature
    first : (n_worlds, 3, n_elements) flows, inlet and outlet temperatures to start near, or None
    exchange : kg/s, 0 or see EXCHANGE_FLOW
    """

    network: Network
    elements: tuple[Element, ...]
    pressures: np.ndarray
    temperatures: np.ndarray
    air_pressure: np.ndarray
    outside: np.ndarray
    heat: dict
    first: np.ndarray | None
    hottest: float
    tolerance: float
    temperature_tolerance: float
    most_iterations: int
    exchange: float = 0.0

    def at(self, index) -> _Task:
        """The same in some of the worlds."""
        return replace(
            self,
            elements=tuple(e.at(index) for e in self.elements),
            pressures=self.pressures[index],
            temperatures=self.temperatures[index],
            air_pressure=self.air_pressure[index],
            outside=self.outside[index],
            heat={
                e: given[index] if isinstance(given, np.ndarray) else given.at(index)
                for e, given in self.heat.items()
            },
            first=None if self.first is None else self.first[index],
        )

    @property
    def blocks(self) -> bool:
        """True where some worlds can be solved without the others."""
        return all(getattr(given, "blocks", True) for given in self.heat.values())


def solve_network(
    network: Network,
    boundary_pressures,
    boundary_temperatures=SEA_LEVEL_TEMPERATURE,
    *,
    air_pressure=SEA_LEVEL_PRESSURE,
    outside_temperature=None,
    heat: Mapping | None = None,
    starts: tuple[str, ...] | None = None,
    hottest_air: float = HOTTEST_AIR,
    tolerance: float = 1e-10,
    temperature_tolerance: float = 1e-5,
    most_iterations: int = 40,
    first: NetworkState | None = None,
    first_worlds=None,
    ease: bool = True,
) -> NetworkResult:
    """Steady flows, pressures and temperatures in all worlds.

    Parameters
    ----------
    network : Network
    boundary_pressures : (n_worlds, n_boundaries) float, Pa, gauge total pressure of the boundary
        nodes in the order of `network.boundaries`
    boundary_temperatures : float or (n_worlds,) or (n_worlds, n_boundaries) float, K
    air_pressure : float or (n_worlds,) float, Pa, absolute, for the density
    outside_temperature : float or (n_worlds,) float or None, K, of the still air that buoyancy is
        against; None: the mean of the boundary temperatures
    heat : mapping of names of elements to W, a float or (n_worlds,), or a function of the size of
        the mass flow (kg/s) and the inlet temperature (K), both (n_worlds,), that gives W. With a
        method `at(index)` that gives the function for some of the worlds, worlds are solved in
        blocks, which is faster
    starts : names out of STARTS, or None: "at rest" alone where the state is unique, otherwise all
    hottest_air : float, K, that no heat can bring the air above
    tolerance : float, greatest imbalance of pressure round a loop, in parts of those in it
    temperature_tolerance : float, K
    most_iterations : int, of Newton's method in one pass
    first : NetworkState of a network with the same elements, to start near it instead of from
        `starts`; worlds in which that leads to nothing start from rest. None: as `starts` say
    first_worlds : (n_worlds,) int, the world of `first` near which every world starts; None: the
        one with its own number
    ease : bool, look further for worlds in which no start converges, which takes long

    Returns
    -------
    NetworkResult
        Worlds that did not converge are said in `converged`, with their residual. Where no start
        leads to a steady state, the first 64 worlds are tried with much exchange of air, see
        EXCHANGE_FLOW; this state comes last, its `start` EASED.

    Raises
    ------
    NetworkError : shapes that do not fit, numbers that are not finite, unknown names
    """
    task = _task(
        network, boundary_pressures, boundary_temperatures, air_pressure, outside_temperature,
        heat, _first(network, first, first_worlds, len(np.atleast_1d(boundary_pressures))),
        hottest_air, tolerance, temperature_tolerance, most_iterations,
    )  # fmt: skip
    if first is not None:
        states = (_solved_near(task),)
    else:
        states = tuple(_solved(task, start) for start in _starts(network, starts))
    lost = np.flatnonzero(~np.any([state.converged for state in states], axis=0))
    if ease and len(lost):
        lost = lost[:_MOST_EASED]
        states = (*states, _with_worlds(states[0], EASED, lost, _eased(task.at(lost))))
    steady = _steady(states, bool(task.heat))
    chosen = np.where(steady.any(axis=0), steady.argmax(axis=0), 0)
    return NetworkResult(
        network, states, _distinct(states, steady), chosen, _picked(states, chosen)
    )


def _starts(network, starts):
    """Names of the starts, checked."""
    if starts is None:
        return STARTS[:1] if network.unique else STARTS
    unknown = [name for name in starts if name not in STARTS]
    if unknown or not starts:
        raise NetworkError(f"unknown starts {unknown}; choose from {', '.join(STARTS)}")
    return starts


def _first(network, state, which, worlds):
    """(n_worlds, 3, n_elements) flows, inlet and outlet temperatures to start near, or None."""
    if state is None:
        return None
    known = len(state.mass_flow)
    which = np.arange(worlds) if which is None else np.asarray(which)
    if state.mass_flow.shape[1] != len(network.elements):
        raise NetworkError(
            f"first has {state.mass_flow.shape[1]} elements; the network has "
            f"{len(network.elements)}"
        )
    if which.shape != (worlds,) or np.any((which < 0) | (which >= known)):
        raise NetworkError(
            f"first_worlds has shape {which.shape} and numbers up to {which.max(initial=0)}; "
            f"expected ({worlds},) numbers below {known}"
        )
    parts = state.mass_flow, state.inlet_temperature, state.outlet_temperature
    return np.stack(parts, axis=1)[which]


def _task(network, pressures, temperatures, air_pressure, outside, heat, first, hottest, *limits):
    pressures = np.array(pressures, dtype=float)
    n = len(network.boundaries)
    if pressures.ndim != 2 or pressures.shape[1] != n or not len(pressures):
        raise NetworkError(
            f"boundary_pressures has shape {pressures.shape}; expected (n_worlds, {n}): one column "
            f"for each of {', '.join(network.boundaries)}"
        )
    worlds = len(pressures)
    temperatures = np.asarray(temperatures, dtype=float)
    if temperatures.ndim == 1:
        temperatures = temperatures[:, None]
    temperatures = _given("boundary_temperatures", temperatures, (worlds, n), positive=True)
    if outside is None:
        outside = temperatures.mean(axis=1)
    sources = {}
    for name, given in (heat or {}).items():
        e = _index(network.elements, name)
        if not callable(given):
            sources[e] = _given(f"heat of {name}", given, (worlds,))
        else:
            sources[e] = given if hasattr(given, "at") else _WholeHeat(given, worlds)
    _check_worlds(network, worlds)
    return _Task(
        network,
        network.elements,
        _given("boundary_pressures", pressures, pressures.shape),
        temperatures,
        _given("air_pressure", air_pressure, (worlds,), positive=True),
        _given("outside_temperature", outside, (worlds,), positive=True),
        sources,
        first,
        float(hottest),
        *limits,
    )


def _given(name, values, shape, positive=False):
    """Array of a wanted shape, of finite numbers."""
    values = np.asarray(values, dtype=float)
    try:
        values = np.ascontiguousarray(np.broadcast_to(values, shape))
    except ValueError:
        raise NetworkError(f"{name} has shape {values.shape}; expected {shape}") from None
    bad = ~np.isfinite(values) | (positive & (values <= 0.0))
    if bad.any():
        wanted = "finite numbers above 0" if positive else "finite numbers"
        raise NetworkError(
            f"{name}: {bad.sum()} of {bad.size} numbers are no good (first: "
            f"{values[bad][0]:g}); expected {wanted}"
        )
    return values


def _check_worlds(network, worlds):
    """Numbers per world must be for as many worlds as there are pressures."""
    air = ElementAir.uniform()
    for e in network.elements:
        n = np.shape(e.drop(0.0, air)[0])[0]
        if n not in (1, worlds):
            raise NetworkError(
                f"element {e.name!r} has numbers for {n} worlds; the pressures are for {worlds}"
            )


# ---- laws of all elements -------------------------------------------------------------------
#
# From here on the worlds are the last axis of all arrays, and "known" are the temperatures of the
# air that comes and goes, (2 n_elements, n_worlds) K.


@dataclass(frozen=True, eq=False)
class _Laws:
    """Laws of all elements: quadratic ones stacked (n_elements, n_worlds), others by row."""

    quadratic: QuadraticLaw
    others: tuple

    def at(self, index):
        return _Laws(self.quadratic.at(index), tuple((e, law.at(index)) for e, law in self.others))

    def drop(self, mass_flow):
        drop, slope = self.quadratic.drop(mass_flow)
        for e, law in self.others:
            drop[e], slope[e] = law.drop(mass_flow[e])
        return drop, slope


def _element_air(task, e, known):
    """Air in element e."""
    n = len(task.elements)
    return ElementAir(known[e], known[n + e], task.outside, task.air_pressure)


def _laws(task, known):
    """Laws at given temperatures."""
    others, parts = [], np.zeros((4, len(task.elements), known.shape[1]))
    for e, element in enumerate(task.elements):
        law = element.law(_element_air(task, e, known))
        if isinstance(law, QuadraticLaw):
            parts[:, e] = law.linear, law.forward, law.backward, law.rise
        else:
            others.append((e, law))
    return _Laws(QuadraticLaw(*parts), tuple(others))


# ---- flows at given temperatures ------------------------------------------------------------


def _drive(network, pressures):
    """(n_loops, n_worlds) Pa that the boundaries supply round every loop."""
    ends, loops = network.ends, network.loops
    take = np.zeros((loops.shape[1], len(network.boundaries)))
    columns = {name: b for b, name in enumerate(network.boundaries)}
    for e, (start, end) in enumerate(ends):
        for node, sign in ((start, 1.0), (end, -1.0)):
            b = columns.get(network.nodes[node].name)
            if b is not None:
                take[:, b] += sign * loops[e]
    return take @ pressures.T


def _newton(network, laws, drive, loop_flow, tolerance, most):
    """Flows round the loops that balance the pressures.

    Parameters
    ----------
    network : Network
    laws : _Laws
    drive : (n_loops, n_worlds) Pa
    loop_flow : (n_loops, n_worlds) kg/s, where to start
    tolerance : (n_worlds,) greatest share of imbalance
    most : int, iterations

    Returns
    -------
    loop_flow, residual (n_worlds,), iterations (n_worlds,)
    """
    loops, (n, worlds) = network.loops, drive.shape
    found, residual = loop_flow.copy(), np.zeros(worlds)
    iterations = np.zeros(worlds, dtype=int)
    if n == 0:
        return found, residual, iterations
    index, flow = np.arange(worlds), found
    drop, slope = laws.drop(loops @ flow)
    for step in range(most + 1):
        imbalance, share = _imbalance(loops, drive, flow, drop, slope)
        residual[index] = share
        left = np.flatnonzero(share > tolerance[index])
        if step == most or not len(left):
            break
        if len(left) < len(index):
            index, laws, drive = index[left], laws.at(left), drive[:, left]
            flow, imbalance, slope = flow[:, left], imbalance[:, left], slope[:, left]
        change, slant = _direction(network, slope, imbalance)
        flow, drop, slope = _searched(loops, laws, drive, flow, change, slant)
        found[:, index] = flow
        iterations[index] += 1
    return found, residual, iterations


def _imbalance(loops, drive, flow, drop, slope):
    """Pressure left round every loop, Pa, and the greatest share of the pressures in it."""
    imbalance, sizes = drive - loops.T @ drop, np.abs(loops.T)
    # flows are sums of those round the loops and known to rounding only
    rounding = (sizes @ np.abs(slope)) * (_ROUNDING * np.abs(flow).max(axis=0))
    beyond = np.maximum(np.abs(imbalance) - rounding, 0.0)
    return imbalance, np.max(beyond / (sizes @ np.abs(drop) + np.abs(drive) + LEAST_DROP), axis=0)


def _direction(network, slope, imbalance):
    """Newton step, and the derivative of the convex function along it (not positive)."""
    change = _loop_solution(network, slope, imbalance)
    slant = -np.sum(imbalance * change, axis=0)
    wrong = np.flatnonzero(~(slant < 0.0))
    if len(wrong):
        # a part of a fan's curve that rises: a step downhill with that slope left out
        kept = np.maximum(slope[:, wrong], 1e-3 * np.abs(slope[:, wrong]) + 1e-9)
        change[:, wrong] = _loop_solution(network, kept, imbalance[:, wrong])
        slant[wrong] = -np.sum(imbalance[:, wrong] * change[:, wrong], axis=0)
    return change, slant


def _loop_solution(network, slope, right):
    """Solution of C^T diag(slope) C x = right, (n_loops, n_worlds)."""
    n, worlds = right.shape
    matrix = np.empty((n, n, worlds))
    for i, (rows, signs) in enumerate(network._shared):
        matrix[i, i:] = signs @ slope[rows]
    if worlds < _FEW:
        for i in range(n):
            matrix[i:, i] = matrix[i, i:]
        return _linear_solution(matrix, right)
    if not network.unique:
        # slopes may be negative: where a pivot may vanish rows have to change places
        plain = np.all(slope >= 0.0, axis=0)
        if not plain.all():
            found = np.empty_like(right)
            found[:, plain] = _loop_solution(network, slope[:, plain], right[:, plain])
            rest = np.flatnonzero(~plain)
            for part in np.array_split(rest, -(-len(rest) // (_FEW - 1))):
                found[:, part] = _loop_solution(network, slope[:, part], right[:, part])
            return found
    return _symmetric_solution(matrix, right)


def _symmetric_solution(matrix, right):
    """Solution of positive definite systems by elimination; reads the upper triangle, spoils it."""
    n, found = len(right), right.copy()
    for k in range(n - 1):
        share = matrix[k, k + 1 :] / matrix[k, k]
        for j in range(k + 1, n):
            matrix[j, j:] -= share[j - k - 1] * matrix[k, j:]
        found[k + 1 :] -= share * found[k]
        matrix[k, k + 1 :] = share
        found[k] /= matrix[k, k]
    found[n - 1] /= matrix[n - 1, n - 1]
    for k in range(n - 2, -1, -1):
        found[k] -= np.sum(matrix[k, k + 1 :] * found[k + 1 :], axis=0)
    return found


def _dominant_solution(matrix, right):
    """Solution of systems whose diagonal outweighs the rest of every row; spoils the matrix."""
    n, found = len(right), right.copy()
    for k in range(n):
        matrix[k, k + 1 :] /= matrix[k, k]
        found[k] /= matrix[k, k]
        for j in range(k + 1, n):
            factor = matrix[j, k]
            if factor.any():
                matrix[j, k + 1 :] -= factor * matrix[k, k + 1 :]
                found[j] -= factor * found[k]
    for k in range(n - 2, -1, -1):
        found[k] -= np.sum(matrix[k, k + 1 :] * found[k + 1 :], axis=0)
    return found


def _linear_solution(matrix, right):
    """Solution of any systems, (n, n, n_worlds) and (n, n_worlds)."""
    if len(right) == 1:
        return right / matrix[0]
    return np.linalg.solve(matrix.transpose(2, 0, 1), right.T[:, :, None])[:, :, 0].T


def _searched(loops, laws, drive, flow, change, slant):
    """Flow after a step, shortened where the pressures would be out of balance the other way."""

    def tried(index, length):
        whole = len(index) == flow.shape[1]
        way = change if whole else change[:, index]
        some = (flow if whole else flow[:, index]) + length * way
        drop, slope = (laws if whole else laws.at(index)).drop(loops @ some)
        left = (drive if whole else drive[:, index]) - loops.T @ drop
        return some, drop, slope, -np.sum(left * way, axis=0)

    worlds = flow.shape[1]
    index, limit = np.arange(worlds), 0.25 * np.abs(slant)
    low, low_value = np.zeros(worlds), slant.copy()
    high = np.ones(worlds)
    best, drop, slope, value = tried(index, high)
    high_value = value.copy()
    index = np.flatnonzero(value > limit)
    for _ in range(_MOST_TRIALS):
        if not len(index):
            break
        a, b = -low_value[index], high_value[index]
        share = np.where(low[index] == 0.0, np.sqrt(a / (a + b)), a / (a + b))
        share = np.clip(share, 1e-4, 0.9)
        length = low[index] + share * (high[index] - low[index])
        best[:, index], drop[:, index], slope[:, index], value = tried(index, length)
        over = value > 0.0
        high[index[over]], high_value[index[over]] = length[over], value[over]
        low[index[~over]], low_value[index[~over]] = length[~over], value[~over]
        index = index[np.abs(value) > limit[index]]
    return best, drop, slope


# ---- temperatures at given flows ------------------------------------------------------------


def _rise(task, size, inlet):
    """(n_elements, n_worlds) K by which elements heat the air that passes them either way."""
    rise = np.zeros(size.shape)
    for e, given in task.heat.items():
        heat = given(size[e], inlet[e]) if callable(given) else given
        change = heat / (HEAT_CAPACITY * size[e])
        coldest = np.minimum(COLDEST_AIR - inlet[e], 0.0)
        rise[e] = np.clip(change, coldest, np.maximum(task.hottest - inlet[e], 0.0))
    return rise


def _temperatures(task, flow, inlet):
    """Temperatures of nodes and elements, and how much the elements heat the air.

    Parameters
    ----------
    task : _Task
    flow, inlet : (n_elements, n_worlds), kg/s; K, inlet temperatures as known so far

    Returns
    -------
    nodes (n_nodes, n_worlds), inlet, rise (n_elements, n_worlds)
    """
    network, size, outside = task.network, np.abs(flow), task.temperatures.T
    plus, minus = _both_ways(flow, size, task.exchange)
    both = np.maximum(plus + minus, LEAST_FLOW)
    ahead = plus / both if task.exchange else flow >= 0.0
    rise = _rise(task, both, inlet)
    nodes = np.zeros((len(network.nodes), flow.shape[1]))
    nodes[[k for k, node in enumerate(network.nodes) if node.boundary]] = outside
    start, end = network.ends.T
    inner = [k for k, node in enumerate(network.nodes) if not node.boundary]
    if inner:
        matrix, right = _mixing(task, plus, minus, nodes, rise)
        # air that stands still has the temperature outside
        still = 1e-10 * size.max(axis=0, initial=0.0) + 1e-15
        matrix[np.arange(len(inner)), np.arange(len(inner))] += still
        right += still * outside.mean(axis=0)
        solution = _linear_solution if flow.shape[1] < _FEW else _dominant_solution
        top = np.maximum(task.hottest, outside.max(axis=0))
        nodes[inner] = np.clip(solution(matrix, right), COLDEST_AIR, top)
    if not task.exchange:
        return nodes, np.where(ahead, nodes[start], nodes[end]), rise
    return nodes, ahead * nodes[start] + (1.0 - ahead) * nodes[end], rise


def _both_ways(flow, size, exchange):
    """Air that goes forward and backward, kg/s: one of both is 0 from the exchange flow d on.

    Between -d and d they are (d + m)^2 / (4 d) and (d - m)^2 / (4 d), which differ by m: continuous
    with their slopes.
    """
    if not exchange:
        return np.maximum(flow, 0.0), np.maximum(-flow, 0.0)
    slow, parts = size < exchange, []
    for way in (flow, -flow):
        part = np.maximum(way, 0.0)
        part[slow] = (exchange + way[slow]) ** 2 / (4.0 * exchange)
        parts.append(part)
    return parts


def _mixing(task, plus, minus, nodes, rise):
    """Energy balances of the inner nodes: matrix (n, n, n_worlds) and right side (n, n_worlds).

    plus, minus : (n_elements, n_worlds) kg/s, sizes of the flows forward and backward
    """
    network = task.network
    inner = [k for k, node in enumerate(network.nodes) if not node.boundary]
    row = {k: i for i, k in enumerate(inner)}
    matrix = np.zeros((len(inner), len(inner), plus.shape[1]))
    right = np.zeros((len(inner), plus.shape[1]))
    for e, pair in enumerate(network.ends):
        for carried, (source, target) in ((plus[e], pair), (minus[e], pair[::-1])):
            if target not in row:
                continue
            i = row[target]
            matrix[i, i] += carried
            if source in row:
                matrix[i, row[source]] -= carried
            else:
                right[i] += carried * nodes[source]
            if e in task.heat:
                right[i] += carried * rise[e]
    return matrix, right


# ---- both together --------------------------------------------------------------------------


def _start_flow(task, start):
    """(n_loops, n_worlds) kg/s round the loops."""
    network, worlds = task.network, len(task.pressures)
    loops = network.loops
    if start == GIVEN:
        return task.first[:, 0, network._tree[1]].T.copy()
    if start in ("at rest", HOT) or not loops.shape[1]:
        return np.zeros((loops.shape[1], worlds))
    air = ElementAir(task.outside, task.outside, task.outside, task.air_pressure)
    spread = np.ptp(task.pressures, axis=1) + 1.0
    one = np.ones(worlds)
    drop, slope = (
        np.stack(np.broadcast_arrays(*parts, one)[:-1])
        for parts in zip(*(e.drop(one, air) for e in task.elements), strict=True)
    )
    drop = np.maximum(drop, 1e-6)
    power = np.clip(slope / drop, 1.0, 2.0)
    typical = np.minimum((spread / drop) ** (1.0 / power), 1e3)
    free = np.array([not e.resists or isinstance(e, Fan) for e in task.elements])
    typical[free] = typical[~free].mean(axis=0)
    if start == "random":
        # the same in every world, so that no world knows of the others
        typical = typical * np.random.default_rng(1).uniform(-1.0, 1.0, (len(loops), 1))
    elif start == "all backward":
        typical = -typical
    return np.linalg.inv(loops.T @ loops) @ (loops.T @ typical)


def _solved(task, start):
    """State that a start leads to, by blocks of worlds where heat allows it."""
    worlds = len(task.pressures)
    if not task.blocks or worlds <= _BLOCK:
        return _solved_block(task, start)
    blocks = np.array_split(np.arange(worlds), -(-worlds // _BLOCK))
    parts = [_solved_block(task.at(block), start) for block in blocks]
    return NetworkState(
        start, **{n: np.concatenate([getattr(p, n) for p in parts]) for n in _arrays_of_states()}
    )


def _solved_near(task):
    """State near the one that is given; where that leads to nothing, from rest."""
    state = _solved(task, GIVEN)
    lost = np.flatnonzero(~state.converged)
    if not len(lost):
        return state
    return _with_worlds(state, GIVEN, lost, _solved(task.at(lost), STARTS[0]))


def _with_worlds(state, start, which, other):
    """State with some of its worlds from another state."""
    parts = {name: getattr(state, name).copy() for name in _arrays_of_states()}
    for name, values in parts.items():
        values[which] = getattr(other, name)
    return NetworkState(start, **parts)


def _eased(task):
    """State that is found by letting air go both ways first, and then ever less of it.

    Notes
    -----
    Where a flow turns round, the temperature of the air that comes jumps, and heat may drive a flow
    only as long as it goes the other way: then no flow is steady, unless some air goes both ways.
    With enough of it there is always a state, which is followed by Newton's method down to
    EXCHANGE_FLOW; what is left there is a flow next to nothing.
    """
    worlds, n = len(task.pressures), 2 * len(task.elements)
    blocks = np.array_split(np.arange(worlds), -(-worlds * n // (8 * _BLOCK)))
    parts = [_eased_block(task.at(block)) for block in blocks]
    return NetworkState(
        EASED, **{k: np.concatenate([getattr(p, k) for p in parts]) for k in _arrays_of_states()}
    )


def _eased_block(task):
    loops, worlds = task.network.loops, len(task.pressures)
    known = np.repeat(task.temperatures.mean(axis=1)[None], 2 * len(loops), axis=0)
    loop_flow = np.zeros((loops.shape[1], worlds))
    counts, marks = np.zeros((2, worlds), dtype=int), np.zeros((2, worlds))
    for exchange in _EASING:
        eased = replace(task, exchange=exchange)
        last = exchange == _EASING[-1]
        for _ in range(_LAST_STEPS if last else _STEPS_OF_EASING):
            loop_flow, error, marks, steps = _errors(eased, known, loop_flow)
            counts += np.stack([steps, np.ones_like(steps)])
            going = marks[1] > task.temperature_tolerance
            if not going.any():
                break
            known, loop_flow = known.copy(), loop_flow.copy()
            known[:, going], loop_flow[:, going] = _eased_step(
                eased.at(going), known[:, going], loop_flow[:, going], error[:, going]
            )
    flow = loops @ loop_flow
    warmth = _temperatures(eased, flow, known[: len(loops)])
    return _state(eased, EASED, flow, known, warmth, marks, counts)


def _errors(task, known, loop_flow):
    """Flows at given temperatures, what these change by with them, and how good both are."""
    # the less exchange, the more the temperatures tell of the flow
    tolerance = task.tolerance * np.clip(task.exchange, 1e-3, 0.1)
    loops, full = task.network.loops, np.full(known.shape[1], tolerance)
    loop_flow, residual, steps = _flows(
        task, _laws(task, known), _drive(task.network, task.pressures), loop_flow, full
    )
    _, inlet, rise = _temperatures(task, loops @ loop_flow, known[: len(loops)])
    error = np.concatenate([inlet, inlet + rise]) - known
    marks = np.stack([residual, np.abs(error).max(axis=0)])
    return loop_flow, error, marks, steps


def _eased_step(task, known, loop_flow, error):
    """Step of Newton's method for the temperatures: the length that leaves the least error."""
    n, worlds = known.shape
    many = np.repeat(np.arange(worlds), n)
    # the less exchange, the smaller the flows in which temperatures change
    little = np.clip(1e-2 * task.exchange, 1e-8, 1e-5)
    moved = known[:, many] + little * np.tile(np.eye(n), worlds)
    _, changed, _, _ = _errors(task.at(many), moved, loop_flow[:, many])
    slope = (changed - error[:, many]).reshape(n, worlds, n) / little
    step = np.linalg.solve(slope.transpose(1, 0, 2), -error.T[:, :, None])[:, :, 0].T
    lengths = 0.5 ** np.arange(10.0)
    many = np.repeat(np.arange(worlds), len(lengths))
    tried = known[:, many] + step[:, many] * np.tile(lengths, worlds)
    tried = np.clip(tried, 0.9 * COLDEST_AIR, 1.1 * task.hottest)
    flows, left, _, _ = _errors(task.at(many), tried, loop_flow[:, many])
    norms = np.sum(left * left, axis=0).reshape(worlds, -1)
    best = np.argmin(norms, axis=1) + np.arange(worlds) * len(lengths)
    return tried[:, best], flows[:, best]


def _solved_block(task, start):
    """State that a start leads to."""
    loops, worlds = task.network.loops, len(task.pressures)
    drive, loop_flow = _drive(task.network, task.pressures), _start_flow(task, start)
    n, flow = len(loops), loops @ loop_flow
    known = np.repeat(task.temperatures.mean(axis=1)[None], 2 * n, axis=0)
    if start == GIVEN:
        known = np.concatenate([task.first[:, 1].T, task.first[:, 2].T])
    elif start != STARTS[0]:
        moving = HOTTEST_FLOW * np.ones_like(flow) if start == HOT else flow
        _, inlet, rise = _temperatures(task, moving, known[:n])
        known = np.concatenate([inlet, inlet + rise])
    mixer, active, part = _Relaxation(worlds), np.arange(worlds), task
    counts, marks = np.zeros((2, worlds), dtype=int), np.zeros((2, worlds))
    # flows need be no better than the temperatures are so far
    enough = np.full(worlds, _FIRST_TOLERANCE if task.heat else task.tolerance)
    for _ in range(_MOST_PASSES):
        some = known[:, active]
        loop_flow[:, active], marks[0, active], steps = _flows(
            part, _laws(part, some), drive[:, active], loop_flow[:, active], enough[active]
        )
        counts[:, active] += np.stack([steps, np.ones_like(steps)])
        flow[:, active] = loops @ loop_flow[:, active]
        _, inlet, rise = _temperatures(part, flow[:, active], some[:n])
        error = np.concatenate([inlet, inlet + rise]) - some
        marks[1, active] = np.abs(error).max(axis=0, initial=0.0)
        going = marks[1, active] > task.temperature_tolerance
        going |= marks[0, active] > task.tolerance
        going &= counts[0, active] < 3 * task.most_iterations
        if not going.any():
            break
        if not going.all():
            active, error, part = active[going], error[:, going], part.at(going)
        enough[active] = np.clip(
            _SHARE_PER_KELVIN * marks[1, active], task.tolerance, enough[active]
        )
        known[:, active] += mixer.step(active, error)
    warmth = _temperatures(task, flow, known[:n])
    return _state(task, start, flow, known, warmth, marks, counts)


def _flows(task, laws, drive, loop_flow, tolerance):
    """`_newton` in blocks that stay in the fast memory."""
    worlds, found = drive.shape[1], []
    for block in np.array_split(np.arange(worlds), -(-worlds // _BLOCK)):
        part = laws if len(block) == worlds else laws.at(block)
        found.append(
            _newton(
                task.network,
                part,
                drive[:, block],
                loop_flow[:, block],
                tolerance[block],
                task.most_iterations,
            )
        )
    return [np.concatenate(parts, axis=-1) for parts in zip(*found, strict=True)]


class _Relaxation:
    """Share of a change of temperature that is carried out, world by world.

    Vector form of Aitken's extrapolation (B. M. Irons and R. C. Tuck, A version of the Aitken
    accelerator for computer iteration, Int. J. Numer. Methods Eng. 1, 1969; from memory).
    """

    def __init__(self, worlds):
        self._share, self._before = np.ones(worlds), None

    def step(self, active, error):
        if self._before is None:
            self._before = np.zeros((len(error), len(self._share)))
        else:
            turn = error - self._before[:, active]
            square = np.sum(turn * turn, axis=0)
            ratio = -np.sum(self._before[:, active] * turn, axis=0) / np.maximum(square, 1e-300)
            share = np.where(square > 0.0, self._share[active] * ratio, 1.0)
            self._share[active] = np.clip(share, 0.05, 2.0)
        self._before[:, active] = error
        return self._share[active] * error


def _state(task, start, flow, known, warmth, marks, counts):
    """State from flows, the temperatures they were found with, and what follows from them."""
    drop, _ = _laws(task, known).drop(flow)
    nodes, inlet, rise = warmth
    near, back = np.zeros((2, *flow.shape), dtype=bool)
    for e, element in enumerate(task.elements):
        if isinstance(element, Fan):
            air = _element_air(task, e, known)
            near[e] = element.near_dip(flow[e], air)
            back[e] = element.holds_back(flow[e], air)
    return NetworkState(
        start=start,
        mass_flow=flow.T,
        drop=drop.T,
        node_pressure=_node_pressures(task, drop).T,
        node_temperature=nodes.T,
        inlet_temperature=inlet.T,
        outlet_temperature=(inlet + rise).T,
        heat=(HEAT_CAPACITY * sum(_both_ways(flow, np.abs(flow), task.exchange)) * rise).T,
        residual=marks[0],
        temperature_change=marks[1],
        iterations=counts[0],
        passes=counts[1],
        converged=(marks[0] <= task.tolerance) & (marks[1] <= task.temperature_tolerance),
        near_dip=near.T,
        holds_back=back.T,
    )


def _node_pressures(task, drop):
    """(n_nodes, n_worlds) Pa, from the boundaries outwards along the tree."""
    network = task.network
    found = np.zeros((len(network.nodes), drop.shape[1]))
    found[[k for k, node in enumerate(network.nodes) if node.boundary]] = task.pressures.T
    for e, near, new in network._tree[0]:
        sign = 1.0 if network.ends[e][0] == near else -1.0
        found[new] = found[near] - sign * drop[e]
    return found

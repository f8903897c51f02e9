"""The cooling-air network: nodes, elements between them, and the loops of air through it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from panelcp.cooling.elements import Element, ElementAir, Fan
from panelcp.errors import NetworkError
from panelcp.surface.mesh import frozen_array


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
    def tree(self):
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
        tree, chords = self.tree
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
    def shared(self):
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


def index_of(things, name):
    """Number of the node or element of a name.

    Raises
    ------
    NetworkError : there is none
    """
    names = [thing.name for thing in things]
    if name not in names:
        raise NetworkError(f"no {name!r} in the network; there are {', '.join(names)}")
    return names.index(name)

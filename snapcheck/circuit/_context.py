"""What every rule is given, and what rules tell each other so that one cause is told once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from snapcheck.board import Cell, Lead, Seam, Side, Spot
from snapcheck.circuit._book import RuleBook
from snapcheck.circuit._circuit import Circuit, Gap, HalfMade, Part, Terminal
from snapcheck.circuit._operating import OperatingPointLike
from snapcheck.circuit._say import capital, place_words
from snapcheck.circuit._topology import Topology, drives
from snapcheck.findings import Finding, Severity
from snapcheck.words import tr


class WordsLater:
    """Findings whose words are made when somebody wants to read them.

    A crowded board has many findings of which a comparison tells few; their words cost more than they do.
    """

    def __init__(self) -> None:
        #: the findings are kept with their words, so that no other ever has the same id
        self._words: dict[int, tuple[Finding, Callable[[], Finding]]] = {}

    def keep(self, finding: Finding, words: Callable[[], Finding]) -> Finding:
        """The wordless finding; `words` gives the same one with words."""
        self._words[id(finding)] = finding, words
        return finding

    def worded(self, finding: Finding) -> Finding:
        """The finding with its words."""
        kept = self._words.get(id(finding))
        return finding if kept is None else kept[1]()


@dataclass(frozen=True)
class OpenGroup:
    """Open ends that meet at one place: the cell into which they point, or a single contact.

    Attributes:
        ends: the half-made contacts, one for each net concerned.
        nets: nets with a single part terminal that end here.
        facing: the cell into which all of them point, None where they do not share one.
    """

    ends: tuple[HalfMade, ...]
    nets: tuple[int, ...]
    facing: Cell | None


@dataclass
class Context:
    """One run of the rules over one circuit."""

    circuit: Circuit
    book: RuleBook
    operating_point: OperatingPointLike | None = None
    #: the same in other positions of the switches, and when a flip-flop has flipped
    others: tuple[OperatingPointLike, ...] = ()
    supply_V: Mapping[Spot, float] = field(default_factory=dict)
    wordless: bool | WordsLater = False
    told: set[Terminal] = field(default_factory=set)
    told_islands: set[int] = field(default_factory=set)
    shorted: set[Spot] = field(default_factory=set)
    #: parts through which a supply is shorted
    shorting: set[Spot] = field(default_factory=set)
    reversed: set[Spot] = field(default_factory=set)
    #: parts, sources among them, whose overload is told by what causes it
    overloading: set[Spot] = field(default_factory=set)
    #: parts that are told to stand the wrong way round
    turned: set[Spot] = field(default_factory=set)

    @cached_property
    def topology(self) -> Topology:
        """Structure for questions about direct current."""
        return Topology(self.circuit, self.supply_V, same_V=self.book.limit("supplies-fighting", "same_V"))

    @cached_property
    def opened(self) -> Topology:
        """The same with every switch and push-button open."""
        same_V = self.book.limit("supplies-fighting", "same_V")
        return Topology(self.circuit, self.supply_V, same_V=same_V, open_switches=True)

    def wordy(self, rule: str, cells: Iterable[Spot], words: Callable[[], Finding]) -> Finding:
        """The finding that `words` makes, or the same without its words where they are not wanted now."""
        if self.wordless is False:
            return words()
        bare = self.finding(rule, cells, "")
        return bare if self.wordless is True else self.wordless.keep(bare, words)

    def finding(
        self,
        rule: str,
        cells: Iterable[Spot],
        title: str,
        *,
        expected: str = "",
        found: str = "",
        why: str = "",
        effect: str = "",
        mend: str = "",
        side: Side | None = None,
        seam: Seam | None = None,
        lead: Lead | None = None,
        severity: Severity | None = None,
        data: dict[str, float | str | bool | list[str]] | None = None,
    ) -> Finding:
        """A finding of a rule, with the severity and source of the rule book."""
        setting = self.book[rule]
        board = self.circuit.board
        spots = list(cells)
        standing = [spot for spot in spots if isinstance(spot, Cell)]
        places = tuple(dict.fromkeys(standing if board.plain else map(board.named, standing)))
        return Finding(
            rule=rule,
            severity=setting.severity if severity is None else severity,
            cells=places,
            title=title,
            expected=expected,
            found=found,
            why=why,
            effect=effect,
            mend=mend,
            side=side,
            seam=seam,
            lead=lead,
            found_cube=self.circuit.board.cubes.get(places[0]) if places else None,
            data=data or {},
            source=setting.source,
            named=tuple(dict.fromkeys(spot for spot in spots if isinstance(spot, str))),
        )

    # ------------------------------------------------------------ operating point

    def voltage(self, part: Part, plus: str, minus: str) -> float | None:
        """Simulated volts from one terminal to another; None without a simulation."""
        if self.operating_point is None:
            return None
        volts = self.operating_point.net_voltages_V
        a, b = volts.get(part.nets[plus]), volts.get(part.nets[minus])
        return None if a is None or b is None else a - b

    def current(self, part: Part) -> float | None:
        """Simulated amperes through a part; None without a simulation."""
        return None if self.operating_point is None else self.operating_point.part_currents_A.get(part.at)

    def power(self, part: Part) -> float | None:
        """Simulated watts in a part; None without a simulation."""
        return None if self.operating_point is None else self.operating_point.part_powers_W.get(part.at)

    # ------------------------------------------------------------ loose ends

    @cached_property
    def open_nets(self) -> frozenset[int]:
        """Nets other than the plate with exactly one part terminal and no socket."""
        return frozenset(
            net.number
            for net in self.circuit.nets[1:]
            if len(net.terminals) == 1 and not self.is_port(net.number)
        )

    def is_port(self, net: int) -> bool:
        """True when a socket gives access to the net, so that something may be plugged in."""
        return net in self.circuit.socket_nets

    @cached_property
    def pointing(self) -> dict[Cell, list[HalfMade]]:
        """Cell to the contacts that point into it and meet nothing (those held by a tap left out).

        Cells of one cube count as one, its anchor. A cube whose blank side a neighbour's contact faces also
        lists its own contacts that meet nothing: it probably stands turned.
        """
        loose = [h for h in self.circuit.half_made if h.terminal and not h.tapped]
        where = [(half, half.cell, half.facing) for half in loose]
        if not self.circuit.board.plain:
            named = self.circuit.board.named
            where = [(half, named(cell), facing and named(facing)) for half, cell, facing in where]
        pointing: dict[Cell, list[HalfMade]] = {}
        for half, _, facing in where:
            if facing is not None:
                pointing.setdefault(facing, []).append(half)
        blanks = {facing for half, _, facing in where if half.reason is Gap.BLANK}
        for half, cell, _ in where:
            if cell in blanks:
                pointing[cell].append(half)
        return pointing

    @cached_property
    def open_groups(self) -> tuple[OpenGroup, ...]:
        """Open nets gathered by the place where the missing joint would be."""
        net_of = self._net_of_half  # asked for so often that calls would count
        spots: dict[int | None, dict[Cell, HalfMade]] = {}
        for cell, halves in self.pointing.items():
            nets = [net_of[id(h)] for h in halves]
            for net, half in zip(nets, halves, strict=True):
                if any(n != net for n in nets):
                    spots.setdefault(net, {}).setdefault(cell, half)
        single = {net_of[id(h)]: h for h in reversed(self.circuit.half_made) if h.terminal}
        open_at = Counter(cell for net in self.open_nets for cell in spots.get(net, ()))
        groups: dict[Cell | int, dict[int, HalfMade]] = {}
        for net in sorted(self.open_nets):
            options = spots.get(net, {})
            # the place where most open ends meet; an occupied one before an empty one
            best = max(options, key=lambda c: (open_at[c], c in self.circuit.board.cubes), default=None)
            if best is not None:
                groups.setdefault(best, {})[net] = options[best]
            else:
                groups[net] = dict.fromkeys([net], single[net]) if net in single else {}
        result = []
        for place, members in groups.items():
            if isinstance(place, Cell):
                shown = {net_of[id(h)]: h for h in reversed(self.pointing[place])} | members
                result.append(OpenGroup(tuple(shown.values()), tuple(members), place))
            else:
                result.append(OpenGroup(tuple(members.values()), (place,), None))
        return tuple(result)

    def net_of_half(self, half: HalfMade) -> int | None:
        """The net of a half-made contact; None for a tap or lead."""
        return self._net_of_half[id(half)]

    @cached_property
    def _net_of_half(self) -> dict[int, int | None]:
        """Id of a half-made connection of the circuit, which keeps them all, to its net."""
        net_at = self.circuit.net_at
        return {id(h): None if h.side is None else net_at(h.cell, h.side) for h in self.circuit.half_made}

    def loose_words(self, part: Part, terminal: str) -> str:
        """Where an open terminal ends, as a sentence."""
        net = part.nets[terminal]
        for group in self.open_groups:
            if net in group.nets and group.ends:
                end = next((e for e in group.ends if self.net_of_half(e) == net), group.ends[0])
                return capital(self.where(end)) + "."
        return tr("Nothing touches it.")

    def where(self, half: HalfMade) -> str:
        """``C3 right touches nothing: D3 is empty``."""
        assert half.side is not None
        place = place_words(half.cell, half.side)
        if half.reason is Gap.EDGE:
            return tr("{place} touches nothing: the plate ends there", place=place)
        cover = None if half.facing is None else self.circuit.board.anchor_at(half.facing)
        if cover is not None and cover != half.facing:
            return tr("{place} touches an edge of the cube at {anchor} that has no contact, at {cell}",
                      place=place, anchor=cover, cell=half.facing)  # fmt: skip
        if half.reason is Gap.BLANK:
            return tr("{place} touches a side of {cell} that has no contact", place=place, cell=half.facing)
        return tr("{place} touches nothing: {cell} is empty", place=place, cell=half.facing)

    # ------------------------------------------------------------ islands

    @cached_property
    def islands(self) -> tuple[tuple[Part, ...], ...]:
        """Groups of parts that hang together without reaching any source but through the plate."""
        if self.shorted:  # then everything is cut off, and the reason is told
            return ()
        parent = list(range(self.circuit.net_count))

        def find(n: int) -> int:
            while parent[n] != n:
                parent[n] = parent[parent[n]]
                n = parent[n]
            return n

        for part in self.circuit.parts:
            nets = [n for n in part.nets.values() if n]
            for n in nets[1:]:
                parent[find(n)] = find(nets[0])
        groups: dict[int, list[Part]] = {}
        for part in self.circuit.parts:
            root = next((find(n) for n in part.nets.values() if n), None)
            if root is not None:
                groups.setdefault(root, []).append(part)
        plugged: set[int] = set()
        if not any(map(drives, self.circuit.parts)):  # then something is plugged in
            plugged = {find(n.number) for n in self.circuit.nets[1:] if self.is_port(n.number)}
        return tuple(
            tuple(parts)
            for root, parts in groups.items()
            if root not in plugged and not any(map(drives, parts))
        )

    @cached_property
    def island_at(self) -> Mapping[Spot, int]:
        """Cell of a part in an island to the number of that island."""
        return {p.at: index for index, parts in enumerate(self.islands) for p in parts}

    @cached_property
    def cut_off(self) -> frozenset[Spot]:
        """Cells of parts in islands."""
        return frozenset(self.island_at)

    @cached_property
    def powered(self) -> bool:
        """True when the board has a battery or supply that is not shorted."""
        return bool(self.topology.rails)

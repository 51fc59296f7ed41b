"""What differs between two circuits, in as few words as possible.

Parts are paired first (given, or found by how they are connected). Then nets are paired by the terminals
they share, and whatever does not fit is put down to the smallest cause: two nets joined, one net torn
apart, one terminal on the wrong net, two legs exchanged.
"""

from __future__ import annotations

import enum
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field

from snapcheck.board import Cell, Spot
from snapcheck.circuit._circuit import Circuit, Part, Terminal
from snapcheck.circuit._equivalence import on_plate
from snapcheck.circuit._pairing import majority, overlap_of, pair_parts, same_value


class What(enum.StrEnum):
    """The sort of difference."""

    JOINED = "joined"  #: nets that should be apart are one
    APART = "apart"  #: a net that should be one is in pieces
    HANGS = "hangs"  #: one terminal, or a few of one net, are on the wrong net
    LEGS = "legs"  #: the terminals of one part are exchanged
    MISSING = "missing"  #: a part is not there
    EXTRA = "extra"  #: a part is there that should not be
    VALUE = "value"  #: a part has another value
    KIND = "kind"  #: a part is of another kind


@dataclass(frozen=True)
class Difference:
    """One difference between the intended circuit and the one that was built.

    Attributes:
        what: the sort.
        part: the part of the intended circuit, where it is about one.
        built_part: the part of the built circuit.
        terminal: name of the terminal that hangs wrongly.
        nets: nets of the intended circuit: those joined; the one torn apart; where the terminal belongs
            and where it hangs instead (-1 for on no net of the plan).
        built_nets: nets of the built circuit: the joint one; the pieces; where the terminal hangs.
        pieces: for a torn net, terminals of the intended circuit piece by piece, the one that kept the
            net first; for a wrong net, the terminals that hang on it.
    """

    what: What
    part: Part | None = None
    built_part: Part | None = None
    terminal: str = ""
    nets: tuple[int, ...] = ()
    built_nets: tuple[int, ...] = ()
    pieces: tuple[tuple[Terminal, ...], ...] = ()


@dataclass(frozen=True)
class Pairing:
    """Differences, and how parts and nets correspond as far as they do."""

    differences: tuple[Difference, ...]
    parts: Mapping[Spot, Spot]
    nets: Mapping[int, int]

    @property
    def cells(self) -> dict[Cell, Cell]:
        """`parts` of two circuits on plates."""
        return on_plate(self.parts)


def differences(first: Circuit, second: Circuit, pairs: Mapping[Cell, Cell] | None = None) -> Pairing:
    """What differs between the intended circuit and the built one.

    Args:
        first: as intended.
        second: as built.
        pairs: cell in the first to cell in the second, for parts known to correspond; None: found by
            how they are connected.
    """
    known: dict[Spot, Spot] = pair_parts(first, second) if pairs is None else dict(pairs.items())
    return _Fit(first, second, known).result()


# ---------------------------------------------------------------- what does not fit

#: the class of all nets that nothing has paired
_FREE = -1


@dataclass
class _Fit:
    """The search for the smallest cause, parts being paired."""

    first: Circuit
    second: Circuit
    pairs: dict[Spot, Spot]
    #: terminal of a paired part of the first circuit to the terminal of its partner
    legs: dict[Terminal, str] = field(default_factory=dict)
    found: list[Difference] = field(default_factory=list)

    def result(self) -> Pairing:
        matched = set(self.pairs.values())
        for part in self.first.parts:
            if part.at not in self.pairs:
                self.found.append(Difference(What.MISSING, part))
        for part in self.second.parts:
            if part.at not in matched:
                self.found.append(Difference(What.EXTRA, built_part=part))
        for one, two in self.pairs.items():
            a, b = self.first.part_at[one], self.second.part_at[two]
            if a.kind.name != b.kind.name:
                self.found.append(Difference(What.KIND, a, b))
            elif not same_value(a, b):
                self.found.append(Difference(What.VALUE, a, b))
        nets = majority(overlap_of(self.first, self.second, self.pairs))
        self._choose_legs(nets)
        nets = self._fit_nets()
        if self._exchange_legs(nets):
            nets = self._fit_nets()
        self._misfits(nets)
        return Pairing(tuple(self.found), dict(self.pairs), nets)

    def _choose_legs(self, nets: dict[int, int]) -> None:
        """For every paired part, the allowed way of pairing terminals that fits the nets best."""
        used = set(nets.values())
        for one, two in self.pairs.items():
            a, b = self.first.part_at[one], self.second.part_at[two]
            if set(a.nets) != set(b.nets):  # another kind: in the order of its terminals
                names = dict(zip(a.nets, b.nets, strict=False))
            elif not a.kind.interchangeable:
                names = {t: t for t in a.nets}
            else:
                names = _best_way(a, b, a.kind.interchangeable, nets, used)
            for mine, other in names.items():
                self.legs[Terminal(one, mine)] = other

    def _terminals(self) -> Iterable[tuple[Terminal, int, int]]:
        """(terminal of the first circuit, its net there, its partner's net in the second)."""
        for terminal, other in self.legs.items():
            a = self.first.part_at[terminal.at]
            yield terminal, a.nets[terminal.name], self.second.part_at[self.pairs[terminal.at]].nets[other]

    def _fit_nets(self) -> dict[int, int]:
        overlap: Counter[tuple[int, int]] = Counter()
        for _, a, b in self._terminals():
            overlap[a, b] += 2
        if any(a == 0 for a, _ in overlap) and any(b == 0 for _, b in overlap):
            overlap[0, 0] += 1
        return majority(overlap)

    def _exchange_legs(self, nets: dict[int, int]) -> bool:
        """Parts that fit once their legs are exchanged: they stand turned or reversed."""
        changed, used = False, set(nets.values())
        for one, two in self.pairs.items():
            a, b = self.first.part_at[one], self.second.part_at[two]
            if set(a.nets) != set(b.nets):
                continue
            way = {t: self.legs[Terminal(one, t)] for t in a.nets}
            wrong = len(way) - _fits(a, b, way, nets, used)
            if wrong < 2:
                continue
            best = _best_way(a, b, [a.nets], nets, used)
            # reversed, and another fault on one of its nets: of two legs, one that fits says enough
            if _fits(a, b, best, nets, used) < (len(way) if len(way) > 2 else 1):
                continue
            self.found.append(Difference(What.LEGS, a, b))
            self.legs.update({Terminal(one, mine): other for mine, other in best.items()})
            changed = True
        return changed

    def _hang(self, belongs: int, built_net: int, hangs: int, terminals: list[Terminal]) -> None:
        """Terminals of one net that are on another."""
        first = terminals[0]
        self.found.append(
            Difference(
                What.HANGS,
                self.first.part_at[first.at],
                self.second.part_at[self.pairs[first.at]],
                first.name,
                (belongs, hangs),
                (built_net,),
                (tuple(terminals),),
            )
        )

    def _misfits(self, nets: dict[int, int]) -> None:
        origin = {b: a for a, b in nets.items()}
        strays: dict[tuple[int, int], list[Terminal]] = defaultdict(list)
        members: Counter[int] = Counter()
        for terminal, a, b in self._terminals():
            members[a] += 1
            if nets.get(a) != b:
                strays[a, b].append(terminal)
        joined: dict[int, list[int]] = defaultdict(list)
        torn: dict[int, list[tuple[int, list[Terminal]]]] = defaultdict(list)
        for (a, b), terminals in strays.items():
            if len(terminals) == members[a] and b in origin:
                joined[b].append(a)
            elif b not in origin:
                torn[a].append((b, terminals))
            else:
                self._hang(a, b, origin.get(b, -1), terminals)
        for b, others in joined.items():
            self.found.append(Difference(What.JOINED, nets=(origin[b], *others), built_nets=(b,)))
        for a, pieces in torn.items():
            main = tuple(t for t, x, y in self._terminals() if x == a and nets.get(a) == y)
            self.found.append(
                Difference(
                    What.APART,
                    nets=(a,),
                    built_nets=(nets.get(a, -1), *(b for b, _ in pieces)),
                    pieces=(main, *(tuple(terminals) for _, terminals in pieces)),
                )
            )


def _fits(a: Part, b: Part, way: Mapping[str, str], nets: Mapping[int, int], used: Collection[int]) -> int:
    """How many terminals fit; nets that nothing else has paired (`used`: of the second) fit each other."""
    pairs = [(a.nets[mine], b.nets[other]) for mine, other in way.items()]
    return sum(nets.get(x) == y or (x not in nets and y not in used) for x, y in pairs)


def _best_way(
    a: Part,
    b: Part,
    groups: Iterable[Iterable[str]],
    nets: Mapping[int, int],
    used: Collection[int],
) -> dict[str, str]:
    """The way of pairing terminals, exchanged within each group only, that fits most nets.

    Of several the one that keeps the earliest terminals nearest to their order. A net fits one net, or all
    that nothing has paired: so terminals fall into classes, and within a class any pairing fits.
    """
    way = {t: t for t in a.nets}
    if _fits(a, b, way, nets, used) == len(way):
        return way
    for group in groups:
        left = [t for t in a.nets if t in set(group)]
        mine = [nets.get(a.nets[t], _FREE) for t in left]
        theirs = [b.nets[t] if b.nets[t] in used else _FREE for t in left]
        open_mine, open_theirs = Counter(mine), Counter(theirs)
        free = dict(zip(left, theirs, strict=True))
        for terminal, belongs in zip(left, mine, strict=True):
            # the first that fits, or one that fits nothing else better
            other = next(
                (
                    t
                    for t, lies in free.items()
                    if lies == belongs
                    or (open_mine[lies] < open_theirs[lies] and open_theirs[belongs] < open_mine[belongs])
                ),
            )
            open_mine[belongs] -= 1
            open_theirs[free.pop(other)] -= 1
            way[terminal] = other
    return way


def same_circuit_in_place(first: Circuit, second: Circuit) -> dict[int, int] | None:
    """Nets of the first to nets of the second when both have the same parts in the same cells, joined alike.

    Wires, grounds, taps and leads may differ. Sockets of the first must be found in the second. None where
    anything differs.
    """
    if len(first.parts) != len(second.parts):
        return None
    there: dict[int, int] = {}
    back: dict[int, int] = {}

    def fit(a: int, b: int) -> bool:
        return there.setdefault(a, b) == b and back.setdefault(b, a) == a

    flexible: list[tuple[Part, Part]] = []
    for one in first.parts:
        two = second.part_at.get(one.at)
        if two is None or one.kind.name != two.kind.name or not same_value(one, two):
            return None
        for terminal, net in one.nets.items():
            if one.kind.leg_labels[terminal] == terminal and not fit(net, two.nets[terminal]):
                return None
        if one.kind.interchangeable:
            flexible.append((one, two))
    # nets already paired decide which way round an exchangeable part lies; the rest lie by their sides
    for one, two in sorted(flexible, key=lambda pair: not any(n in there for n in pair[0].nets.values())):
        if not _lay(one, two, there, back):
            return None
    ports = second.open_sockets
    return there if all(there[n] in ports for n in first.open_sockets if n in there) else None


def _lay(one: Part, two: Part, there: dict[int, int], back: dict[int, int]) -> bool:
    """Pair the nets of two parts whose terminals may be exchanged; False where no exchange fits.

    Nets that are not paired yet (in `there` and `back`, which grow) are paired by equal sides.
    """
    if one.cube.turn == two.cube.turn and _as_they_are(one, two, there, back):
        return True
    mine, theirs = _labels_by_net(one), _labels_by_net(two)
    if len(mine) != len(theirs):
        return False
    for net, labels in mine.items():
        if net in there and theirs.get(there[net]) != labels:
            return False
    new = [net for net in mine if net not in there]
    others = [net for net in theirs if net not in back]
    if len(new) != len(others):
        return False
    for a, b in _cheapest(new, others, lambda a, b: _apart(one, two, a, b) if mine[a] == theirs[b] else None):
        if mine[a] != theirs[b]:
            return False
        there[a], back[b] = b, a
    return True


def _as_they_are(one: Part, two: Part, there: dict[int, int], back: dict[int, int]) -> bool:
    """Pair the nets of terminals of one name, where all of them fit."""
    pairs: dict[tuple[int, int], None] = {}
    for terminal, net in one.nets.items():
        other = two.nets[terminal]
        if there.get(net, other) != other or back.get(other, net) != net:
            return False
        pairs[net, other] = None
    if len(pairs) > 1 and not len(pairs) == len({a for a, _ in pairs}) == len({b for _, b in pairs}):
        return False
    for net, other in pairs:
        there[net], back[other] = other, net
    return True


def _labels_by_net(part: Part) -> dict[int, list[str]]:
    labels: dict[int, list[str]] = {}
    for terminal, net in part.nets.items():
        labels.setdefault(net, []).append(part.kind.leg_labels[terminal])
    for several in labels.values():
        several.sort()
    return labels


def _apart(one: Part, two: Part, a: int, b: int) -> int:
    """How badly two nets fit: terminals that lie on other sides first, then terminals of another name."""
    mine = [t for t, net in one.nets.items() if net == a]
    theirs = [t for t, net in two.nets.items() if net == b]
    sides = Counter((one.kind.leg_labels[t], one.kind.sides(t, one.cube.turn)) for t in mine)
    sides.subtract((two.kind.leg_labels[t], two.kind.sides(t, two.cube.turn)) for t in theirs)
    elsewhere = sum(n for n in sides.values() if n > 0)
    return elsewhere * (len(one.nets) + 1) + len(set(mine) - set(theirs))


#: the cost of what must not be paired
_NEVER = 1_000_000


def _cheapest(
    ones: list[int], others: list[int], cost: Callable[[int, int], int | None]
) -> list[tuple[int, int]]:
    """Ones and others, as many, in pairs of the least cost; None costs too much for any pair to be right."""
    if len(ones) < 2:
        return list(zip(ones, others, strict=True))
    costs = [[_NEVER if (c := cost(a, b)) is None else c for b in others] for a in ones]
    if len(ones) == 2:
        straight = costs[0][0] + costs[1][1] <= costs[0][1] + costs[1][0]
        return list(zip(ones, others if straight else others[::-1], strict=True))
    from scipy.optimize import linear_sum_assignment

    rows, columns = linear_sum_assignment(costs)
    return [(ones[row], others[column]) for row, column in zip(rows, columns, strict=True)]

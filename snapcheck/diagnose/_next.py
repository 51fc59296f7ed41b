"""What to measure next: the most information for the effort.

The measure is the mutual information between the fault and what the meter will show, over the cost of the
measurement: R. A. Johnson, "An information theory approach to diagnosis", IRE Transactions on Reliability and
Quality Control RQC-9 (1960), 35, and, for test points of analogue fault dictionaries, J. A. Starzyk, D. Liu,
Z.-H. Liu, D. E. Nelson, J. O. Rutkowski, "Entropy-based optimum test points selection for analog fault
dictionary techniques", IEEE Trans. Instrum. Meas. 53 (2004), 754-761.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from snapcheck.board import Seam
from snapcheck.circuit import Part
from snapcheck.diagnose._asks import Ask, Way, chances, expected
from snapcheck.diagnose._belief import Belief
from snapcheck.diagnose._dictionary import Dictionary, Spot
from snapcheck.diagnose._wiring import Held, Metal

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: steps into which a scale is cut to count information
_STEPS = 72
#: entries that are looked at, likeliest first
_MOST_ENTRIES = 160
#: so many measurements are weighed closely, those first of which the means lie widest apart
_MOST_CLOSELY = 40
#: a suspect less likely than this needs no measurement of its own
_LEAST = 0.004


class Step(NamedTuple):
    """A measurement that would tell something.

    Attributes:
        ask: which.
        bits: information expected from it.
        effort: what it costs, 1 being a voltage against the plate.
    """

    ask: Ask
    bits: float
    effort: float

    @property
    def worth(self) -> float:
        """Bits for the effort."""
        return self.bits / self.effort


def effort(d: Dictionary, ask: Ask) -> float:
    """What a measurement costs."""
    table = d.priors.effort
    return table[ask.way.value] + (table["setting"] if ask.setting else 0.0)


def entropy(shares: NDArray[Any], axis: int = -1) -> NDArray[Any]:
    """Bits of distributions."""
    safe = np.maximum(shares, 1e-300)
    bits: NDArray[Any] = -(shares * np.log2(safe)).sum(axis=axis)
    return bits


def information(belief: Belief, asks: list[Ask]) -> NDArray[Any]:
    """Bits that each measurement is expected to give, never negative; 0 for those that a rough look sorts
    out.

    (asks,)
    """
    d = belief.dictionary
    order = np.argsort(-belief.entries, kind="stable")[:_MOST_ENTRIES]
    order = order[belief.entries[order] > 1e-5 * belief.entries[order[0]]]
    p = belief.entries[order] / belief.entries[order].sum()
    faults, of = np.unique(d.fault_of[order], return_inverse=True)
    member = np.zeros((len(faults), len(order)))
    member[of, range(len(order))] = p
    weight = member.sum(axis=1)
    bits = np.zeros(len(asks))
    numeric = [i for i, ask in enumerate(asks) if ask.way in (Way.VOLTS, Way.ACROSS, Way.SIGNAL)]
    if numeric:
        bits[numeric] = _numeric_bits(belief, [asks[i] for i in numeric], order, member, weight)
    for i, ask in enumerate(asks):
        if ask.way in (Way.CONTACT, Way.LIFTED):
            table = chances(d, ask)[1][order]
            bits[i] = _bits(member @ table, weight)
    return np.maximum(bits, 0.0)


def _bits(joint: NDArray[Any], weight: NDArray[Any]) -> NDArray[Any]:
    """Mutual information of (..., faults, outcomes) shares that add up to 1."""
    both = joint.reshape(*joint.shape[:-2], -1)
    bits: NDArray[Any] = entropy(joint.sum(axis=-2)) + entropy(weight) - entropy(both)
    return bits


def _numeric_bits(
    belief: Belief, asks: list[Ask], order: NDArray[Any], member: NDArray[Any], weight: NDArray[Any]
) -> NDArray[Any]:
    from scipy.special import ndtr

    mean, slope, noise = (a[:, order] for a in expected(belief.dictionary, asks))
    mean = mean + np.einsum("aev,ev->ae", slope, belief.shift[order])
    var = noise**2 + np.maximum(
        np.einsum("aev,evw,aew->ae", slope, belief.left[order], slope, optimize=True), 0
    )
    share = member.sum(axis=0)
    between = (mean**2 @ share) - (mean @ share) ** 2
    rough = np.log1p(np.maximum(between, 0) / (var @ share))
    cost = np.array([effort(belief.dictionary, ask) for ask in asks])
    closely = np.argsort(-np.round(rough / cost, 6), kind="stable")[:_MOST_CLOSELY]
    kept = np.zeros(len(asks))
    mean, wide = mean[closely], np.sqrt(var[closely])
    points = (mean[:, :, None] + wide[:, :, None] * np.array([-2.0, -1.0, 0.0, 1.0, 2.0])).reshape(
        len(closely), -1
    )
    weights = np.repeat(share, 5)
    for i, place in enumerate(closely):
        # steps where the readings are, and some across the whole scale
        by_size = np.argsort(points[i])
        grown = np.cumsum(weights[by_size])
        some = points[i][by_size[np.searchsorted(grown, np.linspace(0, grown[-1], _STEPS)[1:-1])]]
        least, most = (float(points[i][by_size[end]]) for end in (0, -1))
        edges = np.unique(np.concatenate([some, np.linspace(least, most, _STEPS // 2)]))
        below = ndtr((edges[None, :] - mean[i][:, None]) / wide[i][:, None])
        below[:, 0], below[:, -1] = 0.0, 1.0
        kept[place] = _bits(member @ np.diff(below, axis=1), weight)
    return kept


def candidates(belief: Belief, ways: Iterable[Way] = tuple(Way)) -> list[Ask]:
    """Every measurement that is worth a thought; none that was made already."""
    d, done = belief.dictionary, {r.ask for r in belief.readings}
    ways = frozenset(ways)
    spots = sorted(d.spots, key=lambda spot: not _of_part(d, spot))  # parts are easier to name than wires
    asks: list[Ask] = []
    for setting in range(len(d.settings)):
        if Way.VOLTS in ways:
            asks += [Ask(Way.VOLTS, spot, setting=setting) for spot in spots]
        if Way.ACROSS in ways:
            asks += [Ask(Way.ACROSS, a, b, setting=setting) for a, b in _across(d)]
    if Way.SIGNAL in ways and d.signal is not None:
        asks += [Ask(Way.SIGNAL, spot) for spot in spots]
    likely = [d.faults[i] for i in (belief.faults > _LEAST).nonzero()[0]]
    if Way.CONTACT in ways:
        seams = dict.fromkeys(_seam_of(d, f.key) for f in likely)
        asks += [Ask(Way.CONTACT, seam=seam) for seam in seams if seam is not None]
    if Way.LIFTED in ways:
        asks += [Ask(Way.LIFTED, part=name) for name in dict.fromkeys(f.part for f in likely) if name]
    return [ask for ask in asks if ask not in done]


def _seam_of(d: Dictionary, key: str) -> Seam | None:
    mode, _, place = key.partition(" ")
    return Seam.parse(place) if mode in ("seam-open", "seam-poor") else None


def _of_part(d: Dictionary, spot: Spot) -> bool:
    return isinstance(spot, Metal) and spot.anchor in d.wiring.circuit.part_at


def _across(d: Dictionary) -> list[tuple[Spot, Spot]]:
    """Both ends of parts with two, base to emitter, and the supply of chips."""
    found: list[tuple[Spot, Spot]] = []
    for part in d.wiring.circuit.parts:
        for one, other in _ends(part):
            a, b = Metal(part.cell, one), Metal(part.cell, other)
            if a in d.index and b in d.index:
                found.append((a, b))
    for joint in d.wiring.joints:
        if joint.held is Held.SEAM:
            ends = [d.spots[i] for i in _spots_at(d, joint.first, joint.second)]
            if len(ends) == 2:
                found.append((ends[0], ends[1]))
    return found


def _ends(part: Part) -> list[tuple[str, str]]:
    stage, names = part.device.stage, list(part.nets)
    if stage is not None:
        return [(stage.control, stage.along)]
    if part.device.chip:
        return [part.pair]
    return [(names[0], names[1])] if len(names) == 2 else []


def _spots_at(d: Dictionary, *points: int) -> list[int]:
    spot_at = d.notes.get("spot at point")
    if spot_at is None:
        metal, taps = d.wiring.metal, d.wiring.taps
        spot_at = d.notes["spot at point"] = {
            (taps[s] if isinstance(s, Seam) else metal[s]): i for i, s in enumerate(d.spots)
        }
    return [spot_at[p] for p in points if p in spot_at]


def next_steps(belief: Belief, ways: Iterable[Way] = tuple(Way), most: int = 3) -> tuple[Step, ...]:
    """The measurements that tell most for their effort, the best first; none that tells nothing."""
    asks = candidates(belief, ways)
    bits = information(belief, asks)
    steps = [Step(ask, float(b), effort(belief.dictionary, ask)) for ask, b in zip(asks, bits, strict=True)]
    good = [step for step in steps if step.bits > 0.01]
    return tuple(sorted(good, key=lambda step: -round(step.worth, 3))[:most])

"""What a good build shows at each test point: the table on a build sheet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from snapcheck.diagnose._asks import Ask, Way
from snapcheck.diagnose._dictionary import Dictionary, Spot
from snapcheck.diagnose._say import ask_text, band, spot_words
from snapcheck.diagnose._wiring import Metal

#: which terminal of a net is easiest to name
_NAMED_FIRST = ("collector", "drain", "base", "gate", "emitter", "source", "plus", "anode", "cathode")


@dataclass(frozen=True)
class ExpectedReading:
    """One line of the table.

    Attributes:
        ask: the measurement.
        at: its place as it is typed.
        place: in words.
        setting: conditions beside the usual ones, in words, "" for none.
        low, volts, high: V that a build as designed shows: 95 of 100 lie between low and high.
        signal: True where it is a signal's size.
    """

    ask: Ask
    at: str
    place: str
    setting: str
    low: float
    volts: float
    high: float
    signal: bool = False

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "at": self.at, "place": self.place, "setting": self.setting, "signal": self.signal,
            "low_V": self.low, "V": self.volts, "high_V": self.high,
        }  # fmt: skip


def expected_readings(d: Dictionary, *, every: bool = False) -> tuple[ExpectedReading, ...]:
    """Test points with what a good build shows: one for each net that parts join, tolerances and meter
    included.

    Args:
        every: every contact, not one for each net.
    """
    rows = []
    seen: set[int] = set()
    spots: list[Spot] = []
    for spot in sorted(d.spots, key=lambda s: _rank(d, s)):
        net = d.wiring.whole[d.wiring.metal[spot] if isinstance(spot, Metal) else d.wiring.taps[spot]]
        if every or (net != 0 and net not in seen and _has_part(d, spot)):
            seen.add(net)
            spots.append(spot)
    spots.sort(key=lambda s: (s.anchor if isinstance(s, Metal) else s.first, str(s)))
    asks = [Ask(Way.VOLTS, s, setting=n) for n in range(len(d.settings)) for s in spots]
    if d.signal is not None:
        asks += [Ask(Way.SIGNAL, s) for s in spots]
    for ask in asks:
        assert ask.place is not None
        low, volts, high = band(d, ask)
        rows.append(
            ExpectedReading(
                ask, ask_text(d, ask), spot_words(d, ask.place), d.settings[ask.setting].words,
                low, volts, high, ask.way is Way.SIGNAL,
            )
        )  # fmt: skip
    return tuple(rows)


def _rank(d: Dictionary, spot: Spot) -> tuple[int, str]:
    """Which place of a net is easiest to name: transistors first, then other parts, then wires."""
    if isinstance(spot, Metal) and spot.anchor in d.wiring.circuit.part_at:
        device = d.wiring.circuit.part_at[spot.anchor].device
        if device.chip and spot.terminal in device.outlets:
            return -1, str(spot.anchor)
        known = spot.terminal in _NAMED_FIRST
        return _NAMED_FIRST.index(spot.terminal) if known else len(_NAMED_FIRST), str(spot.anchor)
    return 99, str(spot)


def _has_part(d: Dictionary, spot: Spot) -> bool:
    return isinstance(spot, Metal) and spot.anchor in d.wiring.circuit.part_at

"""What the networks answer to turned views is turned back; what is not clear is left to a person."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from snapcheck.board import Cell, Cube, Side
from snapcheck.check import bundled_settings, certainty
from snapcheck.kit import ValueForm, bundled_kit
from snapcheck.photo import CubeReading, State, TapReading, _cells, _read, reading_from_truth, reading_to_json
from snapcheck.photo._cells import Print, Symbols, _answers, _pooled, decode, read_symbols
from snapcheck.photo._likely import likelihoods
from snapcheck.photo._nets import calibration, names
from snapcheck.photo._reading import BlankReading
from snapcheck.photo._weigh import STRAY, cubes_of, likely, meaning, usual, values_of
from snapcheck.photo._wires import LeadFound
from snapcheck.photo._written import leaves_open

KIT = bundled_kit()
KINDS = len(names()[0])
#: where each side lies from the middle, in the picture: right, down
AT = {Side.N: (0, -1), Side.E: (1, 0), Side.S: (0, 1), Side.W: (-1, 0)}


def seen_from(pixels: np.ndarray) -> np.ndarray:
    """What a perfect network answers to a picture (5, 5) with one bright spot on a side: the cube is turned
    that way, a tap lies there, the print, twice as wide as it is high, beside it."""
    row, column = np.argwhere(pixels == pixels.max())[0]
    side = next(s for s, (u, v) in AT.items() if (np.sign(column - 2), np.sign(row - 2)) == (u, v))
    out = np.zeros(KINDS + 15)
    out[0] = 1.0  # not sure, so that every view is looked at
    out[KINDS + side] = 2.0
    out[KINDS + 4 + side] = 3.0
    out[KINDS + 9 : KINDS + 13] = (*AT[side], 0.2, 0.1)
    return out


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("quarter", [0, 1, 2, 3])
def test_every_view_says_the_same_once_it_is_turned_back(side: Side, quarter: int) -> None:
    """Held against numpy's own turning of a picture."""
    picture = np.zeros((5, 5))
    picture[2 + 2 * AT[side][1], 2 + 2 * AT[side][0]] = 1
    out = seen_from(np.rot90(picture, quarter))[None]
    _, turn, taps, _, box, *_ = _answers(out, quarter)
    assert turn[0].argmax() == side and taps[0].argmax() == side
    assert box[0, :2] == pytest.approx(np.array(AT[side]) * _cells.SPAN)
    wide = (0.2, 0.1) if quarter % 2 == 0 else (0.1, 0.2)
    assert box[0, 2:] == pytest.approx(np.array(wide) * _cells.SPAN)


@pytest.mark.parametrize("side", list(Side))
def test_all_views_of_a_cell_together(side: Side, monkeypatch: pytest.MonkeyPatch) -> None:
    """The crops are turned the way that the answers are turned back."""
    asked = []

    def network(name: str, crops: np.ndarray) -> np.ndarray:
        asked.append(len(crops))
        middle = crops.shape[1] // 2
        out = np.zeros((len(crops), KINDS + 15))
        for n, crop in enumerate(crops):
            grey = crop.reshape(*crop.shape[:2], -1).sum(2)
            row, column = np.argwhere(grey == grey.max()).mean(0) - middle
            where = max(AT, key=lambda s: AT[s][0] * column + AT[s][1] * row)
            out[n, 0] = 1.0
            out[n, KINDS + where], out[n, KINDS + 4 + where] = 2.0, 3.0
        return out

    monkeypatch.setattr(_cells, "run", network)
    fine = _cells.FINE
    board = np.zeros((3 * fine, 3 * fine, 3), np.uint8)
    x, y = (round((1.5 + 0.3 * d) * fine) for d in AT[side])
    board[y - 2 : y + 3, x - 2 : x + 3] = 255
    read = read_symbols(board, 0.0, [(1, 1)])
    assert asked == [1, 1, 2]  # as it is, upside down, and lying to either side
    assert read.turn[0].argmax() == side and np.exp(read.turn[0]).sum() == pytest.approx(1)
    assert read.taps[0] == pytest.approx([3.0 * (s == side) for s in Side])


# ---------------------------------------------------------------- taps and leads


def symbols(**taps: tuple[float, ...]) -> Symbols:
    return SimpleNamespace(taps=np.array(list(taps.values())))  # type: ignore[return-value]


def logit(p: float) -> float:
    return float(np.log(p / (1 - p)))


CUBES = {Cell.parse(c): CubeReading(Cube("resistor", 0, 1e3), State.READ, 1.0) for c in ("A1", "B1", "A2")}
PLACES = [(0, 0), (1, 0), (0, 1)]


@pytest.mark.parametrize(("p", "state"), [(0.49, None), (0.51, State.UNSURE), (0.899, State.UNSURE),
                                          (0.901, State.READ), (0.999, State.READ)])  # fmt: skip
def test_a_tap_is_read_from_its_threshold_on(p: float, state: State | None) -> None:
    assert calibration()["tap_threshold"] == 0.9 and calibration()["tap_temperature"] == 1.0
    x = logit(p)
    none = (-9.0, -9.0, -9.0, -9.0)
    right = _read._taps(PLACES, symbols(a=(-9, x, -9, -9), b=(-9, -9, -9, x), c=none), CUBES)
    below = _read._taps(PLACES, symbols(a=(-9, -9, x, -9), b=none, c=(x, -9, -9, -9)), CUBES)
    for found, seam in ((right, "A1|B1"), (below, "A1|A2")):
        assert [(str(t.seam), t.state) for t in found] == ([] if state is None else [(seam, state)])
        assert all(t.confidence == pytest.approx(p, abs=1e-5) for t in found)


def test_both_cubes_beside_a_tap_have_a_say() -> None:
    none = (-9.0, -9.0, -9.0, -9.0)
    found = _read._taps(PLACES, symbols(a=(-9, 6, -9, -9), b=(-9, -9, -9, -2), c=none), CUBES)
    assert [t.confidence for t in found] == pytest.approx([1 / (1 + np.exp(-2.0))], abs=1e-5)
    alone = {Cell.parse("A1"): CUBES[Cell.parse("A1")]}
    assert _read._taps(PLACES, symbols(a=(6, 6, 6, 6), b=none, c=none), alone) == ()


@pytest.mark.parametrize(("p", "state"), [(0.992, State.UNSURE), (0.994, State.READ)])
def test_a_lead_is_read_from_its_threshold_on(
    p: float, state: State, monkeypatch: pytest.MonkeyPatch
) -> None:
    turns = {"A1": 0, "C2": 90}
    sockets = {Cell.parse(c): CubeReading(Cube("socket", t), State.READ, 1.0) for c, t in turns.items()}
    at: list[np.ndarray] = []

    def follow(*args: object) -> tuple[list[LeadFound], list[int]]:
        at.append(args[4])  # type: ignore[arg-type]
        return [LeadFound((0, 3), p, (((0, 2), 1 - p),))], [1]

    monkeypatch.setattr(_read, "follow", follow)
    leads, notes = _read._leads(np.zeros((1, 1)), None, 6, 4, sockets, ())  # type: ignore[arg-type]
    (lead,) = leads
    assert (lead.state, str(lead.lead)) == (state, "socket A1 E to socket C2 W")
    assert [(str(other.end), q) for other, q in lead.alternatives] == [("socket C2 E", pytest.approx(1 - p))]
    assert len(notes) == 1
    # where the plugs of a socket are: left and right of its middle, turned with it
    out = _read.SOCKET_AT
    plugs = [(0.5 + out, 0.5), (0.5 - out, 0.5), (2.5, 1.5 + out), (2.5, 1.5 - out)]
    assert at[0] == pytest.approx(np.array(plugs))


# ---------------------------------------------------------------- weighing


@pytest.mark.parametrize(("kind", "value", "weight"), [
    ("resistor", 470.0, 1.0), ("resistor", 560.0, 1.0), ("resistor", 510.0, 0.5), ("resistor", 487.0, 0.1),
    ("electrolytic", 1e-5, 1.0), ("electrolytic", 1.2e-5, 0.5), ("electrolytic", 6.8e-8, 0.1),
    ("capacitor", 1e-5, 0.1), ("capacitor", 4.7e-6, 1.0), ("capacitor", 1.2e-9, 1.0),
    ("capacitor", None, 1.0),
    ("led", "red", 1.0), ("led", "rcd", 0.1),
    ("speaker", 8.0, 1.0), ("speaker", 91.0, 0.1), ("battery", 9.0, 1.0), ("battery", 7.2, 0.1),
    ("meter", 3.0, 1.0),
])  # fmt: skip
def test_preferred_numbers_are_usual(kind: str, value: float | str | None, weight: float) -> None:
    """IEC 60063: 470 and 560 of E12, 510 of E24 alone; sizes of capacitors: common practice, no source."""
    assert usual(KIT[kind], value) == weight


def test_a_leading_nought_is_another_print_upside_down() -> None:
    for text, said in (("047", None), ("0", 0.0), ("0R47", 0.47), ("470", 470.0)):
        got = meaning(text, ValueForm.OHMS)
        assert (None if got is None else got.value) == said


@pytest.mark.parametrize("printed", [0.9, 0.5, 0.1])
def test_print_speaks_for_kinds_that_carry_print(printed: float) -> None:
    """Bayes' rule by hand; however clear it looks, a little is left for a stray print."""
    weighed, values = likely({"resistor": 0.5, "straight": 0.5}, Print("470", 1.0, ()), printed, KIT)
    says = {"resistor": STRAY + (1 - STRAY) * printed, "straight": STRAY + (1 - STRAY) * (1 - printed)}
    total = sum(says.values())
    assert weighed == pytest.approx({k: p / total for k, p in says.items()})
    assert [v.value for v, *_ in values["resistor"]] == [470.0] and "straight" not in values
    assert likely({"resistor": 0.4}, None, printed, KIT) == ({"resistor": 0.4}, {})
    junk, _ = likely({"resistor": 0.5, "straight": 0.5}, Print("??", 1.0, ()), 1.0, KIT)
    assert junk == pytest.approx({"resistor": 0.5, "straight": 0.5})


def test_the_same_value_spelt_twice_is_one_choice_another_unit_is_another() -> None:
    ranked, fits = values_of(KIT["resistor"], Print("4k7", 0.5, (("4.7k", 0.3), ("47k", 0.2))))
    assert {v.value: p for v, _, p in ranked} == pytest.approx({4700.0: 0.8, 47000.0: 0.2})
    assert fits == pytest.approx(1.0)
    ranked, _ = values_of(KIT["meter"], Print("10V", 0.6, (("10A", 0.4),)))
    assert [(v.value, v.unit) for v, *_ in ranked] == [(10.0, "V"), (10.0, "A")]


def test_every_cube_that_may_stand_there_with_its_share() -> None:
    _, values = likely({"led": 1.0}, Print("red", 0.6, (("green", 0.2),)), 1.0, KIT)
    found = cubes_of({"led": 0.8, "straight": 0.2}, np.array([0.0, 0.7, 0.0, 0.3]), values, KIT)
    got = {(c.kind, c.turn, c.value): p for c, p in found}
    assert got == pytest.approx({
        ("led", 90, "red"): 0.8 * 0.7 * 0.6, ("led", 270, "red"): 0.8 * 0.3 * 0.6,
        ("led", 90, "green"): 0.8 * 0.7 * 0.2, ("led", 270, "green"): 0.8 * 0.3 * 0.2,
        ("led", 90, None): 0.8 * 0.7 * 0.2, ("led", 270, None): 0.8 * 0.3 * 0.2,
        ("straight", 90, None): 0.2,  # a wire looks the same after half a turn
    })  # fmt: skip
    assert [p for _, p in found] == sorted(got.values(), reverse=True)


def frames(text: str) -> np.ndarray:
    """One place a letter, each as good as certain."""
    letters = names()[1]
    p = np.full((len(text), len(letters) + 1), 0.0)
    for n, c in enumerate(text):
        p[n, letters.index(c) + 1 if c != "-" else 0] = 1.0
    return p


def test_double_letters_need_a_blank_between() -> None:
    """Graves et al. 2006: what is repeated without a blank is one letter."""
    one, two = (likelihoods(("10", "100"), (frames(text),)) for text in ("100", "10-0"))
    assert one[0] > 0.9 and one[1] < 0.1 and two[1] > 0.9 and two[0] < 0.1
    trailing, both = (likelihoods(("10",), (frames(t),))[0] for t in ("10-", "10"))
    assert trailing > 0.9 and both > 0.9


def dotted(p: float) -> np.ndarray:
    """47 or 4.7, the point seen with this probability."""
    letters, view = names()[1], frames("4-7")
    view[1, 0], view[1, letters.index(".") + 1] = 1 - p, p
    return view


def test_what_some_views_doubt_and_others_see_is_pooled_by_the_power_mean() -> None:
    seen = [dotted(p) for p in (0.6, 0.05, 0.05)]
    line = _pooled(decode(seen))
    point, none = (sum(p**0.5 for p in some) ** 2 for some in ((0.6, 0.05, 0.05), (0.4, 0.95, 0.95)))
    assert line.text == "47" and [t for t, _ in line.rivals] == ["4.7"] and len(line.views) == 3
    assert line.confidence == pytest.approx(none / (none + point))
    assert line.rivals[0][1] == pytest.approx(point / (none + point))
    # one view that sees something else altogether does not rule out what the others see
    other = _pooled(decode([dotted(0.05), dotted(0.05), frames("888")]))
    assert other.text == "47" and 0.5 < other.confidence < line.confidence
    empty = np.zeros((2, len(names()[1]) + 1))
    empty[:, 0] = 1.0
    assert _pooled(decode([empty] * 3)).text == ""


def test_a_gap_at_the_end_of_a_line_is_no_reading_of_its_own() -> None:
    gap = frames("4-7-")
    gap[3, 0], gap[3, names()[1].index(" ") + 1] = 0.7, 0.3
    (line,) = decode([gap])
    assert (line.text, line.rivals) == ("47", ()) and line.confidence == pytest.approx(1.0)


def test_views_count_alike_and_one_wrong_letter_rules_nothing_out() -> None:
    right, wrong = frames("470"), frames("410")
    alone = [likelihoods(("470",), (v,))[0] for v in (right, wrong)]
    together = likelihoods(("470",), (right, wrong))[0]
    assert together == pytest.approx(((alone[0] ** 0.5 + alone[1] ** 0.5) / 2) ** 2)
    # less than what one view of two is worth, and far more than the geometric mean
    assert (alone[0] * alone[1]) ** 0.5 * 2 < together < sum(alone) / 2
    assert 1e-6 < alone[1] < 0.01 and likelihoods(("470",), (frames("111"),))[0] < alone[1]


# ---------------------------------------------------------------- written readings


@pytest.mark.parametrize("key", ["cubes", "taps", "leads", "empty"])
def test_what_is_unsure_leaves_a_reading_open(key: str) -> None:
    assert not leaves_open({key: [{"state": "read"}, {}]}) and not leaves_open({})
    assert leaves_open({key: [{"state": "read"}, {"state": "unsure"}]}) and leaves_open({key: 3})


def test_remarks_leave_a_reading_open_and_taps_keep_their_state() -> None:
    assert leaves_open({"notes": ["Glare."]}) and leaves_open({"edge": "Not clear."})
    data = {"columns": 6, "rows": 4, "size": [600, 400], "leads": [],
            "cubes": [{"at": c, "kind": "resistor", "turn": 0, "value": 1e3} for c in ("A1", "B1")],
            "taps": [{"between": ["A1", "B1"], "state": "unsure", "confidence": 0.7}]}  # fmt: skip
    seen = reading_from_truth(data, "b.jpg", KIT)
    assert (
        [(t.state, t.confidence) for t in seen.taps]
        == [(State.UNSURE, 0.7)]
        == [(t.state, t.confidence) for t in seen.unsure_taps]
    )
    written = reading_to_json(seen)
    assert written["taps"][0]["state"] == "unsure" and leaves_open(written)
    sure = seen.confirmed([seen.taps[0].seam], [])
    assert sure.taps == (TapReading(seen.taps[0].seam, State.READ, 0.7),) and not sure.unsure_taps


def test_where_the_grid_is_off_an_empty_cell_is_asked_about_with_its_chances() -> None:
    """A true grid: sure. One that is off: at most OFF_GRID, and a plan may still settle it."""
    kind = np.log(np.full((1, KINDS), 1e-6))
    kind[0, KINDS - 1] = np.log(0.9999)
    symbols = Symbols(
        kind, np.log(np.full((1, 4), 0.25)), np.zeros((1, 4)), np.full(1, -9.0), np.zeros((1, 4)),
        np.full(1, -9.0), np.full(1, -9.0),
    )  # fmt: skip
    board = np.full((150, 150, 3), 128, np.uint8)

    def blank(residual: float) -> BlankReading:
        cubes, blanks = _read.read_cells(board, [(0, 0)], symbols, KIT, residual)
        assert not cubes
        return blanks[Cell.parse("A1")]

    assert blank(_read.TRUE_GRID / 2).state is State.READ
    off = blank(_read.TRUE_GRID)
    assert off.state is State.UNSURE and off.confidence == _read.OFF_GRID
    assert off.chances[0] == (None, _read.OFF_GRID)
    settings = bundled_settings()
    assert certainty(off.chances, None, KIT, settings) >= settings.settled_from
    assert certainty(off.chances, Cube("straight", 0), KIT, settings) < 0.5

"""What stands beside a figure: how sure it is, whose data it uses, and no clipping where none was seen."""

from __future__ import annotations

from pathlib import Path

import pytest
from handmade import handmade

from snapcheck.board import Design, Expectation, Probe, parse_layout
from snapcheck.cli import main
from snapcheck.errors import DataError, InputError
from snapcheck.kit import bundled_kit, parse_kit
from snapcheck.simulate import Simulator
from snapcheck.simulate._tolerance import confidence

KIT = bundled_kit()


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


# ---------------------------------------------------------------- shares


@pytest.mark.parametrize(
    ("good", "tried", "low", "high"),
    [
        (0, 10, 0.0, 0.3085),  # 1 - 0.025^(1/10)
        (10, 10, 0.6915, 1.0),
        (8, 10, 0.4439, 0.9748),  # tables of exact binomial limits (Documenta Geigy; from memory)
        (39, 40, 0.8684, 0.9994),
    ],
)
def test_interval_of_a_share(good, tried, low, high):
    """Clopper, Pearson (1934): the binomial tails at each limit are 2.5 %, which is checked by their sums."""
    found = confidence(good / tried, tried)
    assert found == pytest.approx((low, high), abs=1e-4)
    from scipy.stats import binom

    if good:
        assert binom.sf(good - 1, tried, found[0]) == pytest.approx(0.025, abs=1e-6)
    if good < tried:
        assert binom.cdf(good, tried, found[1]) == pytest.approx(0.025, abs=1e-6)


def test_a_yield_says_of_how_many_boards_it_is(tmp_path: Path, capsys):
    plan = Path(__file__).parents[2] / "fixtures" / "designs" / "night-lamp.board"
    assert main(["simulate", str(plan), "--tolerance", "12"]) == 0
    out = capsys.readouterr().out
    assert "of 12 boards meet the figures; of all boards" in out and "95 times of 100" in out


def test_figures_that_need_runs_in_time_are_judged_on_fewer(simulator):
    circuit = handmade(
        ("battery", 9.0, {"plus": 1, "minus": 0}), ("resistor", 1e5, {"a": 1, "b": 2}),
        ("capacitor", 1e-6, {"a": 2, "b": 0}), ("resistor", 1e6, {"a": 2, "b": 0}),
    )  # fmt: skip
    probe = Probe("C101", "a")
    promised = (Expectation("voltage", probe, None, 7, 9), Expectation("delay", probe, None, 0.05, 0.08))
    found = simulator.tolerance(
        Design(circuit.board, expectations=promised), circuit, samples=60, slow_samples=5
    )
    assert found.judged == 5 and found.samples == 60
    low, high = found.interval
    assert high - low > 0.4 > found.figures[0].interval[1] - found.figures[0].interval[0]


# ---------------------------------------------------------------- clipping


def test_a_passive_filter_does_not_clip(tmp_path: Path, capsys):
    board = tmp_path / "filter.board"
    board.write_text(
        "plate 4 x 3\noutput C2 a\nA1 audio-in signal=right\nB1 resistor 1k ends=left+right\n"
        "C1 tee stem=down\nC2 capacitor 100n ends=up+down\nC3 ground stem=up\nD1 resistor 1M ends=left+right"
    )
    code = main(["simulate", str(board)])
    out = capsys.readouterr().out
    assert code == 0, out
    assert "does not clip" in out and "clips above" not in out


# ---------------------------------------------------------------- types


def emitter_follower(kind: str, name: str):
    return handmade(
        ("supply", 9.0, {"plus": 1, "minus": 0}), ("resistor", 1e6, {"a": 1, "b": 2}),
        (kind, name, {"base": 2, "collector": 1, "emitter": 3}), ("resistor", 1000.0, {"a": 3, "b": 0}),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("name", "like"), [("BC547B", "BC547"), ("BC548", "BC547"), ("2N2222A", "2N2222"), ("BD135", "BD139")]
)
def test_a_type_of_a_known_family_has_its_data(simulator, name, like):
    one, other = emitter_follower("npn", name), emitter_follower("npn", like)
    assert one.parts[2].parameters == other.parts[2].parameters != KIT["npn"].parameters
    point = simulator.operating_point(one)
    assert point.remarks == ()
    assert point.voltage(3) == simulator.operating_point(other).voltage(3)


def test_what_is_less_in_a_relative_is_less():
    """BC548: 30 V where BC547 has 45 V; BC547A: half the gain (data sheets, from memory)."""
    assert KIT["npn"].ratings_for("BC548")["max_voltage_V"] == 30
    assert KIT["npn"].ratings_for("BC547")["max_voltage_V"] == 45
    assert KIT["npn"].parameters_for("BC547A")["gain_max"] < KIT["npn"].parameters_for("BC547")["gain_max"]
    assert "BC548" not in KIT["npn"].values  # what is in the box stays what it was


def test_a_type_without_data_says_so(simulator):
    (remark,) = simulator.operating_point(emitter_follower("npn", "XY123")).remarks
    assert remark.kind == "generic" and "XY123" in remark.text and "Q101" in remark.text


def test_a_relative_of_nothing_is_an_error():
    text = 'name = "x"\ntitle = "X"\nbased_on = "bundled"\n[family.npn]\nBC111 = { like = "BC999" }\n'
    with pytest.raises(DataError, match="BC999"):
        parse_kit(text, "x.toml")


# ---------------------------------------------------------------- decimal comma

HEAD = (
    "plate 3 x 3\nA1 battery 9V plus=right\nB1 resistor 1k ends=left+right\nC1 potentiometer 1k wiper=down\n"
)


@pytest.mark.parametrize(
    "line",
    [
        "expect voltage at B1 left 4,5 V ± 2,5 %",
        "expect voltage at B1 left 1,7 to 2,1 V",
        "expect current at B1 under 0,5 mA",
        "expect voltage at B1 left 1 to 2 V with light 5,5 lux, temperature -2,5 C, C1 12,5 %, A1 8,5 V",
        "set light 0,5 lux",
    ],
)
def test_a_decimal_comma_reads_like_a_point(line):
    point = "".join("." if c == "," and line[i + 1 : i + 2].isdigit() else c for i, c in enumerate(line))
    with_comma, with_point = (parse_layout(HEAD + text + "\n", "x", KIT) for text in (line, point))
    assert with_comma.conditions == with_point.conditions
    for ours, theirs in zip(with_comma.expectations, with_point.expectations, strict=True):
        assert (ours.low, ours.high, ours.conditions) == (theirs.low, theirs.high, theirs.conditions)


def test_a_comma_that_may_part_thousands_is_refused():
    with pytest.raises(InputError, match=r"ambiguous: 1,000 may be 1\.000 or 1000"):
        parse_layout(HEAD + "expect voltage at B1 left under 1,000 V\n", "x", KIT)

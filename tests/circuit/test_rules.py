"""Every rule has a board that breaks it and a board that keeps it."""

from __future__ import annotations

import pytest
from edits import edited
from ruleboards import AMP, CHIP, DRIVER, LOOP, check

from snapcheck.circuit import RULES, bundled_rules
from snapcheck.kit import bundled_kit

KIT = bundled_kit()


def test_the_plain_boards_are_clean() -> None:
    assert check(LOOP) == []
    assert check(AMP) == []


SPEAKER = """plate 5 x 4
A1 corner turn=0
A2 battery 9V plus=up
A3 ground stem=up
B1 resistor 100 turn=0
C1 corner turn=90
C2 speaker 8R turn=90
C3 ground stem=up
"""

COIL = """plate 6 x 5
A1 corner turn=0
A2 battery 9V plus=up
A3 ground stem=up
B1 tee stem=down
B2 resistor 10k turn=90
B3 corner turn=270
B4 corner turn=0
C1 tee stem=down
D1 corner turn=90
C2 inductor 100mH turn=90
D2 diode 1N4001 anode=down
C3 tee stem=left
D3 corner turn=180
C4 nmos 2N7000 gate=left
C5 ground stem=up
"""
COIL = COIL.replace("B3 corner turn=270\nB4 corner turn=0\n", "B3 straight turn=90\nB4 corner turn=270\n")
COIL = COIL.replace("C3 tee stem=left", "C3 tee stem=right")

#: rule -> (failing layout, passing layout, cells that must be named, operating point of both)
Case = tuple[str, str, str, dict[str, dict[str, float]], dict[str, dict[str, float]]]
CASES: dict[str, Case] = {
    "supply-shorted": (
        edited(LOOP, "C1 straight", "D2 straight turn=90"), LOOP, "A2", {}, {},
    ),
    "above-extra-low": (
        edited(LOOP, "A2 battery 61V plus=up"), edited(LOOP, "A2 battery 60V plus=up"), "A2", {}, {},
    ),
    "supplies-fighting": (
        edited(LOOP, "B1 tee stem=down", "B2 battery 6V plus=up", "B3 ground stem=up"),
        edited(LOOP, "B1 tee stem=down", "B2 resistor 1k turn=90", "B3 ground stem=up"),
        "A2 B2", {}, {},
    ),
    "supplies-parallel": (
        edited(LOOP, "B1 tee stem=down", "B2 battery 9V plus=up", "B3 ground stem=up"), LOOP, "A2 B2", {}, {},
    ),
    "supply-reversed": (
        edited(LOOP, "A2 battery 9V plus=down", "D2 led red anode=down"), LOOP, "A2", {}, {},
    ),
    "batteries-opposed": (
        "plate 3 x 4\nA1 corner turn=0\nA2 battery 3V plus=down\nA3 battery 3V plus=up\nA4 ground stem=up\n"
        "B1 resistor 1k\nC1 corner turn=90\nC2 ground stem=up\n",
        "plate 3 x 4\nA1 corner turn=0\nA2 battery 3V plus=up\nA3 battery 3V plus=up\nA4 ground stem=up\n"
        "B1 resistor 1k\nC1 corner turn=90\nC2 ground stem=up\n",
        "A2 A3", {}, {},
    ),
    "no-current-limit": (edited(LOOP, "C1 straight"), LOOP, "D2", {}, {}),
    "electrolytic-reversed": (
        edited(LOOP, "B1 tee stem=down", "B2 electrolytic 10u plus=down", "B3 ground stem=up"),
        edited(LOOP, "B1 tee stem=down", "B2 electrolytic 10u plus=up", "B3 ground stem=up"),
        "B2", {}, {},
    ),
    "electrolytic-overvoltage": (
        edited(LOOP, "B1 tee stem=down", "B2 electrolytic 10uF/6V plus=up", "B3 ground stem=up"),
        edited(LOOP, "B1 tee stem=down", "B2 electrolytic 10uF/10V plus=up", "B3 ground stem=up"),
        "B2", {}, {},
    ),
    "clamp-reversed": (edited(COIL, "D2 diode 1N4001 anode=up"), COIL, "D2 C2 C4", {}, {}),
    "output-shorted": (edited(CHIP, "B3 tee stem=right", "B4 ground stem=up"), CHIP, "C2", {}, {}),
    "input-beyond-supply": (
        edited(CHIP, "C2 opamp TL072 turn=0", "C4 corner ends=up+left", "B4 corner turn=0",
               "B5 battery 12V plus=up", "B6 ground stem=up"),
        edited(CHIP, "C4 corner ends=up+left", "B4 corner turn=0", "B5 battery 12V plus=up",
               "B6 ground stem=up"),
        "C2", {}, {},
    ),
    "resistor-missing": (
        DRIVER, DRIVER, "C2 C3", {"amperes": {"C2": 0.03}}, {"amperes": {"C2": 0.02}},
    ),
    "over-rating": (edited(LOOP, "C1 resistor 220"), LOOP, "D2", {}, {}),
    "fuse-blows": (
        edited(LOOP, "B1 fuse 100mA"), edited(LOOP, "B1 fuse 100mA"), "B1",
        {"amperes": {"B1": 0.2}}, {"amperes": {"B1": 0.05}},
    ),
    "speaker-direct-current": (
        SPEAKER, edited(SPEAKER, "B1 electrolytic 100u plus=left"), "C2", {}, {},
    ),
    "microphone-direct-current": (
        edited(LOOP, "B1 tee stem=down", "B2 microphone plus=up", "B3 ground stem=up"),
        edited(LOOP, "B1 resistor 4k7", "C1 tee stem=down", "C2 microphone plus=up", "C3 ground stem=up",
               "D1 socket signal=left", "-D2", "-D3"),
        "B2", {}, {},
    ),
    "reversed-in-circuit": (edited(LOOP, "D2 led red anode=down"), LOOP, "D2", {}, {}),
    "terminals-joined": (
        edited(LOOP, "D1 tee stem=down", "E1 resistor 1k", "F1 ground stem=left", "D2 straight turn=90"),
        LOOP, "E1", {}, {},
    ),
    "gate-floats-open": (
        edited(AMP, "C2 pushbutton turn=90", "C4 corner ends=up+right", "-A4", "-B4", "D3 straight turn=90",
               "-E3", "-F3", "D2 lamp 12V/100mA turn=90", "D4 nmos BS170 gate=left"),
        edited(AMP, "C2 pushbutton turn=90", "B4 resistor 100k", "A4 ground stem=right",
               "D3 straight turn=90", "-E3", "-F3", "D2 lamp 12V/100mA turn=90", "D4 nmos BS170 gate=left"),
        "D4", {}, {},
    ),
    "base-floating": (edited(AMP, "C4 corner turn=180", "-B4", "-A4"), AMP, "D4", {}, {}),
    "input-without-bias": (edited(AMP, "-C2", "-C3", "C1 straight", "C4 straight"), AMP, "D4 B4", {}, {}),
    "emitter-no-return": (edited(AMP, "-D5"), AMP, "D4", {}, {}),
    "transistor-swapped": (
        edited(AMP, "D3 straight turn=90", "-E3", "-F3", "D4 npn BC547 turn=180", "-C4", "-B4", "-A4",
               "-C2", "-C3", "C1 straight", "E4 resistor 47k", "F4 ground stem=left"),
        edited(AMP, "D3 straight turn=90", "-E3", "-F3", "D4 pnp BC557 base=left", "C4 resistor 47k",
               "B4 ground stem=right",
               "-A4", "-C2", "-C3", "C1 straight"),
        "D4", {}, {},
    ),
    "input-without-block": (edited(AMP, "B4 straight"), AMP, "A4 D4", {}, {}),
    "terminal-open": (edited(LOOP, "-D1"), LOOP, "D1 C1 D2", {}, {}),
    "pot-end-open": (
        edited(LOOP, "C1 potentiometer 1k wiper=down", "B1 resistor 470", "-D1", "-D2", "-D3",
               "C2 led red anode=up", "C3 ground stem=up"),
        LOOP, "C1", {}, {},
    ),
    "gap-between": (
        edited(LOOP, "B1 tee stem=down", "D1 tee stem=down", "-C1", "B2 resistor 1k turn=90",
               "B3 ground stem=up", "E1 resistor 1k", "F1 ground stem=left"),
        LOOP, "C1", {}, {},
    ),
    "island": (
        edited(LOOP, "F1 ground stem=down", "F2 resistor 1k turn=90", "F3 lamp 6V/0.1A turn=90",
               "F4 ground stem=up"),
        LOOP, "F2 F3", {}, {},
    ),
    "no-ground": (
        edited(LOOP, "A3 corner turn=270", "B3 socket signal=left", "D1 tee stem=down", "E1 resistor 1k",
               "F1 ground stem=left"),
        LOOP, "A2", {}, {},
    ),
    "no-supply": (edited(LOOP, "A2 straight turn=90"), LOOP, "", {}, {}),
    "no-parts": ("plate 4 x 3\nA1 straight turn=0\nB1 ground stem=left\n", LOOP, "", {}, {}),
    "lead-loose": (
        edited(LOOP, "tap A1|B1", "F1 socket signal=right", "lead A1|B1 to C1|D1 loose"),
        edited(LOOP, "tap A1|B1", "F1 socket signal=right", "lead A1|B1 to F1"),
        "C1", {}, {},
    ),
    "tap-loose": (edited(LOOP, "tap B2|C2"), edited(LOOP, "tap B1|C1"), "B2", {}, {}),
    "flyback-missing": (edited(COIL, "-D2", "C3 straight turn=90", "-D3", "-D1", "C1 corner turn=90"), COIL,
                        "C2 C4", {}, {}),
    "decoupling-missing": (
        edited(AMP, "E3 npn BC547 base=left", "E4 ground stem=up", "-F3", "E2 resistor 1k turn=90",
               "E1 corner turn=90", "D1 tee stem=down"),
        edited(AMP, "E3 npn BC547 base=left", "E4 ground stem=up", "-F3", "E2 resistor 1k turn=90",
               "E1 corner turn=90", "D1 tee stem=down", "B1 tee stem=down",
               "B2 electrolytic 100u plus=up", "B3 ground stem=up"),
        "A2", {}, {},
    ),
}  # fmt: skip


def test_batteries_in_series_add_up_to_more_than_extra_low_voltage() -> None:
    board = "plate 4 x 4\nA1 corner turn=0\nA2 battery 48V plus=up\nA3 battery 48V plus=up\n" \
            "A4 ground stem=up\nB1 resistor 100k\nC1 corner turn=90\nC2 ground stem=up\n"  # fmt: skip
    (danger,) = [f for f in check(board) if f.rule == "above-extra-low"]
    assert "96 V" in danger.title and [str(c) for c in danger.cells] == ["A2", "A3"]
    assert "Do not power" in danger.mend and "mains" in danger.mend
    mains = check(edited(LOOP, "A2 battery 230V plus=up"))
    assert mains[0].rule == "above-extra-low"  # before the parts that would burn
    assert not [f for f in check(board.replace("48V", "24V")) if f.rule == "above-extra-low"]


def test_every_rule_has_both_boards_and_is_in_the_book() -> None:
    assert set(CASES) == set(RULES) == set(bundled_rules().rules)


@pytest.mark.parametrize("rule", CASES)
def test_a_board_that_breaks_the_rule_is_found(rule: str) -> None:
    failing, _, cells, solved, _ = CASES[rule]
    found = [f for f in check(failing, **solved) if f.rule == rule]
    assert found, [f.title for f in check(failing, **solved)]
    for finding in found:
        assert finding.title.endswith(".") and finding.why and finding.mend and finding.source
        assert finding.severity is bundled_rules()[rule].severity
    named = {str(c) for f in found for c in f.cells}
    assert set(cells.split()) <= named


@pytest.mark.parametrize("rule", CASES)
def test_a_board_that_keeps_the_rule_is_left_alone(rule: str) -> None:
    _, passing, _, _, solved = CASES[rule]
    assert [f.title for f in check(passing, **solved) if f.rule == rule] == []

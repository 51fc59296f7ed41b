"""Shorts by every way, simulated values in place of structure, one cause told once, and the rule book."""

from __future__ import annotations

from pathlib import Path

import pytest
from edits import edited
from ruleboards import AMP, LOOP, Solved, check

from snapcheck.board import Cell, Side, parse_layout
from snapcheck.circuit import (
    WordsLater,
    build_circuit,
    bundled_rules,
    check_rules,
    load_rules,
    net_words,
    parse_rules,
)
from snapcheck.errors import DataError, InputError
from snapcheck.findings import Severity
from snapcheck.kit import bundled_kit

KIT = bundled_kit()


def rules_of(layout: str, **solved: dict[str, float]) -> list[str]:
    return [f.rule for f in check(layout, **solved)]


def test_short_through_the_plate_names_the_way() -> None:
    # plus reaches the plate by a ground cube, minus by another: only the plate joins them
    (finding,) = check("plate 3 x 3\nB1 ground stem=down\nB2 battery 9V plus=up\nB3 ground stem=up\n")
    assert finding.rule == "supply-shorted" and finding.severity is Severity.DANGER
    assert [str(c) for c in finding.cells] == ["B2", "B1", "B3"]
    assert finding.data["through_plate"] is True
    assert "B2 – B1 – the plate – B3 – B2" in finding.found


def test_short_through_a_lead_names_the_lead() -> None:
    layout = edited(LOOP, "tap A1|B1", "F1 socket signal=right", "lead A1|B1 to F1 W")
    (finding,) = check(layout)
    assert finding.rule == "supply-shorted"
    assert finding.lead is not None and "lead" in finding.mend


@pytest.mark.parametrize("contact", ["switch", "pushbutton"])
def test_short_in_a_position_that_is_not_the_resting_one(contact: str) -> None:
    layout = edited(LOOP, "B1 tee stem=down", f"B2 {contact} turn=90", "B3 ground stem=up")
    (finding,) = check(layout)
    assert finding.rule == "supply-shorted" and Cell.parse("B2") in finding.cells
    assert "closes" in finding.title


def test_short_at_one_end_of_a_knob() -> None:
    # wiper on plus, one end on the plate: at that end nothing is left between them
    layout = edited(
        LOOP,
        "B1 tee stem=down",
        "B2 potentiometer 1k wiper=up",
        "A4 ground stem=right",
        "C2 ground stem=left",
    )
    found = [f for f in check(layout) if f.rule == "supply-shorted"]
    assert len(found) == 1 and "travel" in found[0].title


def test_a_divider_with_its_ends_on_the_rails_is_no_short() -> None:
    layout = edited(
        LOOP, "B1 tee stem=down", "B2 potentiometer 10k wiper=right", "B3 ground stem=up",
        "C2 socket signal=left",
    )  # fmt: skip
    assert "supply-shorted" not in rules_of(layout)


def test_short_through_a_tiny_resistor_and_an_ammeter() -> None:
    tiny = edited(LOOP, "B1 tee stem=down", "B2 resistor R47 turn=90", "B3 ground stem=up")
    assert "supply-shorted" in rules_of(tiny)
    meter = edited(LOOP, "B1 tee stem=down", "B2 meter 100mA plus=up", "B3 ground stem=up")
    assert "supply-shorted" in rules_of(meter)
    voltmeter = edited(LOOP, "B1 tee stem=down", "B2 meter 15V plus=up", "B3 ground stem=up")
    assert rules_of(voltmeter) == []


def test_electrolytic_is_judged_by_the_simulated_voltage() -> None:
    """A coupling capacitor whose bias only the operating point tells."""
    two = edited(
        AMP, "C1 tee stem=down", "D1 tee stem=down", "E1 corner turn=90", "E2 resistor 10k turn=90",
        "E3 tee stem=up", "F3 npn BC547 base=left", "F2 corner turn=0", "-F2", "F4 ground stem=up",
        "E4 resistor 10k turn=90", "E5 ground stem=up", "-E3",
    )  # fmt: skip
    two = edited(two, "E3 electrolytic 10u plus=left", "F3 resistor 10k", "G3 ground stem=left", "-F4")
    forward = {"volts": {"D4 collector": 4.5, "F3 a": 1.0, "A2 plus": 9.0}}
    backward = {"volts": {"D4 collector": 0.2, "F3 a": 3.0, "A2 plus": 9.0}}
    slightly = {"volts": {"D4 collector": 0.2, "F3 a": 0.8, "A2 plus": 9.0}}
    assert "electrolytic-reversed" not in rules_of(two, **forward)
    (finding,) = [f for f in check(two, **backward) if f.rule == "electrolytic-reversed"]
    assert finding.severity is Severity.DANGER and finding.data["voltage_V"] == pytest.approx(-2.8)
    assert finding.side is Side.W and "Do not power" in finding.mend
    (finding,) = [f for f in check(two, **slightly) if f.rule == "electrolytic-reversed"]
    assert finding.severity is Severity.NOTE and "Do not power" not in finding.mend


def test_reversed_coupling_capacitor_is_seen_without_simulation() -> None:
    """Minus on the collector, plus drawn to the plate by the load."""
    layout = edited(AMP, "E3 electrolytic 10u plus=right", "F3 resistor 1k", "G3 ground stem=left")
    assert "electrolytic-reversed" in rules_of(layout)
    assert "electrolytic-reversed" not in rules_of(edited(layout, "E3 electrolytic 10u plus=left"))


def test_swapped_transistor_by_simulated_voltage() -> None:
    assert "transistor-swapped" in rules_of(AMP, volts={"D4 collector": -0.5, "D4 emitter": 0.0})
    assert "transistor-swapped" not in rules_of(AMP, volts={"D4 collector": 4.0, "D4 emitter": 0.0})


@pytest.mark.parametrize(
    ("solved", "rule"),
    [
        ({"watts": {"D2": 0.4}}, "over-rating"),
        ({"amperes": {"D4": 0.25}}, "over-rating"),
        ({"volts": {"D4 base": -8.0, "D4 emitter": 0.0}}, "over-rating"),
    ],
)
def test_simulated_overload(solved: dict[str, dict[str, float]], rule: str) -> None:
    assert rule in rules_of(AMP, **solved)


def test_heavy_overload_is_a_danger() -> None:
    (finding,) = [f for f in check(AMP, watts={"D2": 2.0}) if f.rule == "over-rating"]
    assert finding.severity is Severity.DANGER and finding.mend.startswith("Do not power.")


def test_missing_corner_is_one_finding_with_its_consequence() -> None:
    (finding,) = check(edited(LOOP, "-D1"))
    assert str(finding.cells[0]) == "D1"
    assert "C1 right" in finding.title and "D2 up" in finding.title
    assert "light-emitting diode red at D2" in finding.effect


def test_turned_corner_is_named_as_the_cause() -> None:
    finding = check(edited(LOOP, "D1 corner turn=0"))[0]
    assert str(finding.cells[0]) == "D1" and "does not touch" in finding.title
    assert "corner wire" in finding.found


def test_rules_off_and_limits_changed_in_data(tmp_path: Path) -> None:
    circuit = build_circuit(parse_layout(edited(LOOP, "C1 resistor 220"), "t", KIT).board, KIT)
    assert [f.rule for f in check_rules(circuit)] == ["over-rating"]
    assert check_rules(circuit, book=bundled_rules().without("over-rating")) == []
    assert check_rules(circuit, book=parse_rules("[over-rating]\nslack = 1.0\n", "mine.toml")) == []
    file = tmp_path / "mine.toml"
    file.write_text('[over-rating]\nseverity = "note"\n', encoding="utf-8")
    assert [f.severity for f in check_rules(circuit, book=load_rules(file))] == [Severity.NOTE]


@pytest.mark.parametrize(
    ("text", "place", "accepted"),
    [
        ("[over-ratin]\n", "mine.toml, key over-ratin", "over-rating"),
        ("[over-rating]\nslak = 1\n", "key over-rating.slak", "slack"),
        (
            '[over-rating]\nseverity = "question"\n',
            "key over-rating.severity",
            "danger, fault, deviation, note",
        ),
        ('[over-rating]\nseverity = "bad"\n', "key over-rating.severity", "danger, fault, deviation, note"),
        ("[over-rating]\nenabled = 1\n", "key over-rating.enabled", "true, false"),
        ("[over-rating]\nslack = -1\n", "key over-rating.slack", "from 0 up"),
        ('[over-rating]\nslack = "x"\n', "key over-rating.slack", "plain number"),
        ("island = 3\n", "key island", "[island]"),
        ("[over-rating\n", "mine.toml", "toml.io"),
    ],
)
def test_a_mistake_in_a_rule_book_is_named(text: str, place: str, accepted: str) -> None:
    with pytest.raises(DataError) as error:
        parse_rules(text, "mine.toml")
    assert place in str(error.value) and accepted in str(error.value)


def test_a_missing_rule_file_is_an_input_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be opened"):
        load_rules(tmp_path / "none.toml")


def test_a_short_through_two_switches_names_both() -> None:
    found = check(
        "plate 4 x 3\nA1 corner turn=0\nA2 battery 9V plus=up\nA3 ground stem=up\n"
        "B1 switch\nC1 pushbutton\nD1 ground stem=left\n"
    )
    (short,) = [f for f in found if f.rule == "supply-shorted"]
    assert {"B1", "C1"} <= {str(c) for c in short.cells}
    assert short.title.endswith("are closed.")


def test_a_coil_that_shorts_a_supply_is_told_once() -> None:
    found = check(
        "plate 4 x 3\nA1 corner turn=0\nA2 battery 9V plus=up\nA3 ground stem=up\n"
        "B1 inductor 1mH\nC1 ground stem=left\n"
    )
    assert [f.rule for f in found] == ["supply-shorted"]


def driven(ohms: str, transistor: str = "BC337") -> str:
    return edited(AMP, f"C2 resistor {ohms} turn=90", "C4 corner ends=up+right", "-A4", "-B4",
                  f"D4 npn {transistor} base=left")  # fmt: skip


@pytest.mark.parametrize(("ohms", "severity"), [("47", Severity.DANGER), ("1k", None)])
def test_a_small_base_resistor_is_a_danger_whatever_the_model_says(
    ohms: str, severity: Severity | None
) -> None:
    """(9 V - 0.7 V) / 47 ohm is 177 mA; the device model's own base resistance would hide it."""
    for solved in ({}, {"volts": {"D4 base": 0.9}, "watts": {"D4": 0.01}}):
        found = [f for f in check(driven(ohms), **solved) if f.rule == "over-rating"]
        assert [f.severity for f in found] == ([severity] if severity is not None else [])
        if found:
            assert found[0].data["base_current_A"] == pytest.approx(8.3 / 47)
            assert "base" in found[0].mend


@pytest.mark.parametrize(("watts", "severity"), [(1.73, Severity.DANGER), (0.8, Severity.FAULT)])
def test_power_clearly_above_the_rating_is_a_danger(watts: float, severity: Severity) -> None:
    (finding,) = [f for f in check(driven("47k"), watts={"D4": watts}) if f.rule == "over-rating"]
    assert finding.severity is severity


def test_a_lamp_for_far_less_than_the_supply_is_a_danger_of_its_own() -> None:
    layout = edited(LOOP, "C1 straight", "D2 lamp 2.5V/0.2A turn=90")
    (finding,) = [f for f in check(layout) if f.rule == "over-rating"]
    assert finding.severity is Severity.DANGER and "filament" in finding.why and "lamp" in finding.mend


def test_a_reversed_diode_is_told_to_be_turned_and_nothing_else() -> None:
    layout = edited(LOOP, "D2 led red anode=down")
    found = check(layout, volts={"D2 anode": 0.0, "D2 cathode": 9.0})
    assert [f.rule for f in found] == ["reversed-in-circuit"]
    assert found[0].mend == "Turn the cube at D2 by half a turn."


def test_a_net_is_called_by_what_hangs_on_it() -> None:
    circuit = build_circuit(parse_layout(LOOP, "loop", KIT).board, KIT)
    lamp = next(p for p in circuit.parts if p.device.shows)
    net = next(n for n in lamp.nets.values() if n)
    legs = circuit.nets[net].terminals
    assert str(lamp.at) in net_words(circuit, net)
    assert net_words(circuit, net, without=legs) == "a net of its own"
    assert net_words(circuit, 0) == "the plate"


def test_words_that_come_later_are_those_that_were_kept() -> None:
    bare, told = check(LOOP), check(edited(LOOP, "D2 led red anode=down"))
    later, finding = WordsLater(), told[0]
    assert later.worded(finding) is finding
    assert later.keep(finding, lambda: told[-1]) is finding
    assert later.worded(finding) is told[-1] and all(later.worded(f) is f for f in bare)


def test_where_an_open_end_points_is_said() -> None:
    told = [f.found for f in check("plate 4 x 3\nA1 resistor 470\nB3 resistor 470\nC3 ground stem=up\n")]
    assert "A1 left touches nothing: the plate ends there." in told
    assert "A1 right touches nothing: B1 is empty." in told
    assert "C3 holds ground, which has no contact there. C3 up touches nothing: C2 is empty." in told


def test_parts_between_sockets_are_cut_off_only_where_something_feeds_the_board() -> None:
    """Into a board without supply and input something is plugged, such as a filter or a divider."""
    between = "D4 socket signal=right\nE4 resistor 470\nF4 socket signal=left\n"
    assert [(f.rule, str(f.cells[0])) for f in check(LOOP + between)] == [("island", "E4")]
    assert [f.rule for f in check("plate 6 x 4\n" + between)] == ["no-supply"]


def test_a_floating_gate_is_pointed_out_on_its_side_of_the_cube() -> None:
    gone, lamp = ("-A4", "-B4", "-E3", "-F3"), ("D3 straight turn=90", "D2 lamp 12V/100mA turn=90")
    button = ("C2 pushbutton turn=90", "C4 corner ends=up+right", "D4 nmos BS170 gate=left")
    floating = edited(AMP, *gone, *lamp, *button)
    (told,) = (f for f in check(floating) if f.rule == "gate-floats-open")
    assert (str(told.cells[0]), told.side) == ("D4", Side.W)


def test_each_open_base_is_told_where_its_own_wire_ends() -> None:
    bare = edited(AMP, "C4 corner turn=180", "-B4", "-A4")
    with_another = edited(bare, "H1 resistor 470")
    told = [[f.found for f in check(text) if f.rule == "base-floating"] for text in (bare, with_another)]
    assert told[0] == told[1] and len(told[0]) == 1 and not told[0][0].startswith("H1")


def test_a_rule_that_is_switched_off_or_not_asked_for_is_silent_in_every_position() -> None:
    circuit = build_circuit(parse_layout(LOOP, "test", KIT).board, KIT)
    hot = {"B1 open": Solved(circuit, amperes={"C1": 0.07}, watts={"C1": 2.0})}
    (told,) = check_rules(circuit, positions=hot)
    assert told.title.startswith("With B1 open: The resistor 470 at C1") and told.severity is Severity.DANGER
    assert check_rules(circuit, positions=hot, book=bundled_rules().without("over-rating")) == []
    assert check_rules(circuit, positions=hot, only=("supply-shorted",)) == []


@pytest.mark.parametrize(("end", "open_base"), [("D4 socket signal=right", False), ("D4 straight", True)])
def test_what_is_plugged_into_a_socket_may_drive_a_base_through_a_resistor(end: str, open_base: bool) -> None:
    layout = (
        "plate 7 x 6\nA1 corner turn=0\nB1 straight\nC1 straight\nD1 straight\nE1 straight\n"
        "F1 corner turn=90\nA2 battery 9V plus=up\nA3 ground stem=up\nF2 resistor 1k turn=90\n"
        "F3 straight turn=90\nF4 npn BC547 base=left\nF5 ground stem=up\nE4 resistor 10k turn=0\n"
    )
    assert ("base-floating" in {f.rule for f in check(layout + end)}) is open_base

"""A board finely split, and the faults that are made from it."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace

import pytest
from faultboards import DESIGNS, KIT, design_named, divider
from handmade import handmade

from snapcheck.board import Cell, load_design
from snapcheck.diagnose import (
    Fault,
    Search,
    bundled_priors,
    dictionary,
    faults_of,
    parse_priors,
    parse_reading,
    split,
)
from snapcheck.diagnose._faults import Change
from snapcheck.diagnose._say import _lifted_words, spot_words
from snapcheck.diagnose._variants import NOWHERE, variant
from snapcheck.diagnose._wiring import Held
from snapcheck.errors import DataError
from snapcheck.kit import chips_kit
from snapcheck.simulate import Simulator


@pytest.mark.parametrize("path", sorted(DESIGNS.glob("**/*.board")), ids=lambda path: path.stem)
def test_a_split_board_has_the_nets_of_its_circuit(path) -> None:
    kit = chips_kit() if path.parent.name == "chips" else KIT
    wiring = split(load_design(str(path), kit).board, kit)
    pairs = {
        (net, wiring.whole[wiring.pins[part.name, terminal]])
        for part in wiring.circuit.parts
        for terminal, net in part.nets.items()
    }
    assert len({a for a, _ in pairs}) == len({b for _, b in pairs}) == len(pairs)
    assert all(a == 0 for a, b in pairs if b == 0)
    assert len(wiring.joints) > len(wiring.circuit.parts)


def test_every_kind_of_fault_of_a_small_board() -> None:
    faults = {f.key: f for f in faults_of(split(divider().board, KIT), bundled_priors())}
    assert {"seam-open A1|B1", "seam-poor A1|B1", "body-open A3", "tap-open C1|D1", "tap-half C1|D1 D1",
            "lead-open socket E1 E to tap C1|D1", "open R101", "short R101", "decade-up R102",
            "decade-down R103", "weak B101", "flat B101", "reversed B101"} <= set(faults)  # fmt: skip
    joints = split(divider().board, KIT).joints
    (half,) = faults["tap-half C1|D1 D1"].degrees
    held = [(joints[n].held, str(joints[n].seam)) for n, _ in half.cut]
    assert held == [(Held.TAP, "C1|D1"), (Held.SEAM, "C1|D1")]  # of its two contacts with the tap one is lost
    # the direct seam below a tap is held by the tap, so that opening it alone changes nothing
    assert "seam-open C1|D1" not in faults
    assert any(f.mode == "bridge" for f in faults.values())
    assert len(faults) == len({f.text for f in faults.values() if f.mode != "bridge"}) + sum(
        f.mode == "bridge" for f in faults.values()
    )


def test_modes_of_transistors_lamps_and_capacitors() -> None:
    modes = Counter(f.mode for f in faults_of(split(design_named("night-lamp").board, KIT), bundled_priors()))
    assert modes["blown"] == 1 and modes["low-gain"] == 1 and modes["short-collector-emitter"] == 1
    assert modes["open-base"] == 1 and modes["reversed"] == 2  # battery, and collector with emitter
    stage = faults_of(split(design_named("speech-stage").board, KIT), bundled_priors())
    assert {f.part for f in stage if f.mode == "reversed"} >= {"C101", "C102", "C103", "Q101"}


def test_a_seam_that_opens_cuts_its_net_in_two() -> None:
    wiring = split(divider().board, KIT)
    fault = next(f for f in faults_of(wiring, bundled_priors()) if f.key == "seam-open D1|D2")
    whole, cut = variant(wiring, Change()), variant(wiring, fault.degrees[0])
    assert cut.circuit.net_count == whole.circuit.net_count + 1
    r2 = next(p for p in cut.circuit.parts if str(p.cell) == "D2")
    r1 = next(p for p in cut.circuit.parts if str(p.cell) == "B1")
    assert not set(r2.nets.values()) & set(r1.nets.values())


def test_a_poor_contact_is_a_resistor_and_a_cut_off_wire_is_nowhere() -> None:
    wiring = split(divider().board, KIT)
    faults = {f.key: f for f in faults_of(wiring, bundled_priors())}
    poor = variant(wiring, faults["seam-poor D1|D2"].degrees[1])
    assert [p.cube.value for p in poor.circuit.parts if p.name.startswith("contact")] == [1000]
    dead = faults["seam-open A1|B1"].degrees[0] + faults["tap-open C1|D1"].degrees[0]
    dead += faults["seam-open B1|C1"].degrees[0] + faults["seam-open D1|D2"].degrees[0]
    points = variant(wiring, dead).net_of
    wire = next(p for m, p in wiring.metal.items() if str(m.anchor) == "C1")
    assert points[wire] == NOWHERE


def test_faults_that_make_one_circuit_share_it() -> None:
    wiring = split(divider().board, KIT)
    faults = {f.key: f for f in faults_of(wiring, bundled_priors())}
    one, two = (variant(wiring, faults[k].degrees[0]) for k in ("body-open D3", "seam-open D2|D3"))
    assert one.signature == two.signature != variant(wiring, Change()).signature
    assert one.net_of != two.net_of  # but a probe on D3 tells them apart


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[contacts]\nseam-open = 1", "'contacts' is not understood"),
        ("[contact]\nseam-closed = 1", "'contact.seam-closed'"),
        ("[contact]\nseam-open = -1", "not negative"),
        ("[contact]\nseam-open = true", "not negative"),
        ("contact = 3", "Write a table"),
        ("[part.resistor]\nmelts = 1", "part.resistor.melts"),
        ("[part]\nresistor = 1", "part.resistor"),
        ("[degree]\npoor_ohm = 5", "poor_ohm"),
        ("[degree]\nweak = [[0.8]]", "weak"),
        ("[effort]\nvolts = 'dear'", "volts"),
        ("[contact", "not valid TOML"),
    ],
)
def test_wrong_weights_name_file_key_and_way_out(text: str, words: str) -> None:
    with pytest.raises(DataError) as error:
        parse_priors(text, "mine.toml")
    assert words in str(error.value) and "mine.toml" in str(error.value)


def test_weights_of_ones_own_change_what_is_suspected() -> None:
    wiring = split(divider().board, KIT)
    own = parse_priors("[contact]\nseam-open = 0\n[part.resistor]\nopen = 9", "mine.toml")
    faults = {f.key: f for f in faults_of(wiring, own)}
    assert "seam-open A1|B1" not in faults and faults["open R101"].weight == 9
    assert faults["short R101"].weight == bundled_priors().part["resistor"]["short"]


@pytest.mark.parametrize(
    ("kind", "value", "words"),
    [
        ("timer", None, "Swap"),
        ("nmos", "BS170", "diode range, all ways round"),
        ("npn", "BC547", "junctions alone"),
        ("diode", "1N4148", "junctions alone"),
        ("capacitor", 1e-6, "wait until it is empty"),
        ("battery", 9.0, "measure its voltage alone"),
        ("resistor", 470.0, "measure its ohms alone"),
    ],
)
def test_how_a_part_is_tested_alone(kind: str, value: float | str | None, words: str) -> None:
    kit = chips_kit()
    legs = dict.fromkeys(kit[kind].leg_labels, 0)
    (part,) = handmade((kind, value or kit[kind].values[0], legs), kit=kit).parts
    assert words in _lifted_words(part) and ("Battery out" in _lifted_words(part)) is (kind != "battery")


def test_the_meter_of_the_trade() -> None:
    """1 % + 2 digits of 3 1/2 digits: 4.60 V in the 20 V range to 66 mV, 0.65 V in the 2 V range to 8.5
    mV."""
    import numpy as np

    limit = bundled_priors().meter_V(np.array([4.6, 0.65, 0.0, -4.6, 19.9, 30.0]))
    wanted = [0.046 + 0.02, 0.0065 + 0.002, 0.0002, 0.066, 0.199 + 0.02, 0.3 + 0.2]
    assert limit == pytest.approx(wanted)
    assert math.isclose(float(bundled_priors().noise_V(np.array([0.0]))[0]), 0.012, rel_tol=0.01)


def chip_faults(name: str, model: str, without: str = "") -> dict[str, Fault]:
    kit = chips_kit()
    board = load_design(str(DESIGNS / "chips" / f"{name}.board"), kit).board
    if without:
        board = replace(board.put({Cell.parse(without): None}), leads=())
    wiring = split(board, kit)
    name = next(part.name for part in wiring.circuit.parts if part.device.name == model)
    return {f.mode: f for f in faults_of(wiring, bundled_priors()) if f.part == name}


def test_a_chip_without_a_table_of_its_own_has_the_usual_faults() -> None:
    found = chip_faults("gauge-amplifier", "dual-opamp")
    assert set(found) == {
        "open-plus", "open-minus", "open-non1", "open-inv1", "open-out1",
        "open-non2", "open-inv2", "open-out2", "short-out1-plus", "short-out1-minus",
        "short-out2-plus", "short-out2-minus", "dead",
    }  # fmt: skip
    assert len(found["dead"].degrees[0].cut) == 2  # both outputs
    assert found["dead"].text.endswith("is dead: nothing comes out of it.")
    assert "open-reset" in chip_faults("buffet-blinker", "timer")
    # a leg that is joined to nothing cannot be missed
    assert "open-reset" not in chip_faults("buffet-blinker", "timer", without="E6")
    assert {"open-ac1", "short-minus-ac1", "short-ac2-plus"} <= set(chip_faults("either-way-light", "bridge"))


def test_a_dead_chip_is_found_with_a_meter(simulator: Simulator) -> None:
    kit = chips_kit()
    design = load_design(str(DESIGNS / "chips" / "gauge-amplifier.board"), kit)
    d = dictionary(design, kit, simulator, bundled_priors(), processes=1)
    readings = [parse_reading(d, text) for text in ("D3 non1 750mV", "D3 out1 0V", "D3 plus 12V")]
    search = Search(d, tuple(readings))
    assert any(fault.mode == "dead" for fault in search.suspects[0].faults)
    assert spot_words(d, readings[1].ask.place).endswith("(D3 left)")

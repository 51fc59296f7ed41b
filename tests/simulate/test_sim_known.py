"""What was calculated once is told again for the same circuit, and is what a fresh calculation gives."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from handmade import Entry, handmade

from snapcheck.board import Cell, Conditions, Cube, load_design, parse_layout
from snapcheck.circuit import Circuit, build_circuit
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Simulator, is_available
from snapcheck.simulate._known import KnownCircuits
from snapcheck.simulate._netlist import Stimulus
from snapcheck.simulate._worker import Worker
from snapcheck.simulate._write import write_netlist

KIT = bundled_kit()
DESIGNS = Path(__file__).parents[2] / "fixtures" / "designs"
#: every part that obeys conditions, and some that do not
OBEYING: list[Entry] = [
    ("battery", 9.0, {"plus": 1, "minus": 0}), ("supply", 5.0, {"plus": 4, "minus": 0}),
    ("switch", None, {"a": 1, "b": 2}), ("photoresistor", 1e4, {"a": 2, "b": 3}),
    ("thermistor", 1e4, {"a": 3, "b": 0}), ("potentiometer", 1e4, {"a": 1, "wiper": 3, "b": 0}),
    ("npn", "BC547", {"base": 3, "collector": 4, "emitter": 0}), ("led", "red", {"anode": 3, "cathode": 0}),
]  # fmt: skip
NIGHT = load_design(DESIGNS / "night-lamp.board", KIT)
ngspice = pytest.mark.skipif(not is_available(), reason="the ngspice library is not installed")


def some_conditions(circuit: Circuit) -> list[Conditions]:
    at = {part.kind.name: part.at for part in circuit.parts}
    return [
        Conditions(),
        Conditions(light_lux=3.3),
        Conditions(temperature_C=-10.0, pots={at["potentiometer"]: 0.1}),
        Conditions(switches={at["switch"]: True}, supply_V={at["battery"]: 7.7, at["supply"]: 3.0}),
        Conditions(pots={at["potentiometer"]: 0.0}),
    ]


@pytest.mark.parametrize("stimulus", [Stimulus(), Stimulus(ac=True), Stimulus(power_on=True)])
@pytest.mark.parametrize("own_models", [False, True])
def test_a_netlist_under_other_conditions_is_as_if_written_first(
    stimulus: Stimulus, own_models: bool
) -> None:
    asked_before, lines = handmade(*OBEYING), set[tuple[str, ...]]()
    for conditions in some_conditions(asked_before):
        again = write_netlist(asked_before, conditions, stimulus, own_models=own_models)
        fresh = write_netlist(handmade(*OBEYING), conditions, stimulus, own_models=own_models)
        assert (again.lines, again.currents) == (fresh.lines, fresh.currents)
        assert (again.vectors, again.nodes, again.emf_nodes) == (fresh.vectors, fresh.nodes, fresh.emf_nodes)
        assert (again.changeable, again.remarks) == (fresh.changeable, fresh.remarks)
        assert list(again.currents) == list(fresh.currents)
        lines.add(tuple(again.lines))
    assert len(lines) == 5  # all of them are different


def questions_of(simulator: Simulator, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    asked: list[int] = []
    solve = simulator.worker.solve
    monkeypatch.setattr(simulator.worker, "solve", lambda *a, **k: (asked.append(1), solve(*a, **k))[1])
    return asked


@ngspice
def test_a_board_with_another_loose_wire_is_the_same_circuit(monkeypatch: pytest.MonkeyPatch) -> None:
    board = NIGHT.board
    corner = next(c for c in (Cell(r, k) for r in range(board.rows) for k in range(board.columns))
                  if c not in board.cubes and not any(abs(c.row - o.row) + abs(c.column - o.column) == 1
                                                      for o in board.cubes))  # fmt: skip
    one, other = build_circuit(board, KIT), build_circuit(board.put({corner: Cube("straight", 0)}), KIT)
    with Simulator() as simulator:
        first = simulator.other_positions(one, NIGHT.conditions)
        what_if = simulator.what_if(NIGHT, one)
        asked = questions_of(simulator, monkeypatch)
        point, second = simulator.operating_point(other), simulator.other_positions(other, NIGHT.conditions)
        assert simulator.what_if(NIGHT, other) == what_if
        assert not asked
    assert point.circuit is other and all(p.circuit is other for p in second.values())
    with Simulator() as fresh:
        told = fresh.other_positions(other, NIGHT.conditions)
    assert list(told) == list(second) == list(first)
    assert [p.voltages for p in told.values()] == [p.voltages for p in second.values()]
    assert [p.part_powers_W for p in told.values()] == [p.part_powers_W for p in second.values()]


@ngspice
def test_another_value_is_another_circuit(monkeypatch: pytest.MonkeyPatch) -> None:
    board = NIGHT.board
    cell, cube = next((c, q) for c, q in board.cubes.items() if q.kind == "resistor")
    halved = board.put({cell: replace(cube, value=float(cube.value) / 2, printed=None)})  # type: ignore[arg-type]
    with Simulator() as simulator:
        one = simulator.operating_point(build_circuit(board, KIT))
        asked = questions_of(simulator, monkeypatch)
        other = simulator.operating_point(build_circuit(halved, KIT))
        assert asked and one.voltages != other.voltages


def test_what_failed_is_tried_again() -> None:
    worker, made = Worker(), []
    known, kept = KnownCircuits(worker), dict[str, int]()

    def make(lost: bool) -> int:
        made.append(1)
        worker.failures += lost
        return len(made)

    assert [known.once(kept, "a", lambda lost=lost: make(lost)) for lost in (True, False, False)] == [1, 2, 2]


def test_what_is_not_worth_it_is_made_again() -> None:
    known, kept = KnownCircuits(Worker()), dict[str, int]()
    answers = iter((1, 2, 3))
    told = [known.once(kept, "a", lambda: next(answers), lambda found: found > 1) for _ in range(3)]
    assert told == [1, 2, 2]


def test_only_so_many_circuits_are_kept() -> None:
    known = KnownCircuits(Worker())
    text = "plate 4 x 4\nA1 battery 9V plus=up\nB1 resistor {ohm} turn=0\n"
    circuits = [build_circuit(parse_layout(text.format(ohm=n + 1), "t", KIT).board, KIT) for n in range(60)]
    first, second = known.of(circuits[0]), known.of(circuits[1])
    for circuit in circuits[2:]:
        known.of(circuit)
        assert known.of(circuits[0]) is first  # asked for again and again
    assert known.of(circuits[1]) is not second


@ngspice
def test_a_plan_is_known_again_with_its_own_kit_alone() -> None:
    other = replace(KIT, title="another one")
    with Simulator() as simulator:
        mine, theirs = simulator.plan_circuit(NIGHT, KIT), simulator.plan_circuit(NIGHT, other)
        assert mine.kit is KIT and theirs.kit is other
        assert simulator.plan_circuit(NIGHT, KIT) is mine and simulator.plan_circuit(NIGHT, other) is theirs

"""Boards laid from a list of parts: the same circuit in every case, or an honest no."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import networkx as nx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from largekit import LARGE_KIT

from snapcheck.board import TURNS, Board, Cube, Design, SocketEnd, load_design
from snapcheck.circuit import Sameness, build_circuit, equivalence
from snapcheck.errors import InputError, StoppedError
from snapcheck.kit import Side, bundled_kit
from snapcheck.place import (
    DoesNotFitError,
    Item,
    LaidBoard,
    PartsAndNets,
    Stock,
    lay,
    list_of,
    parse_parts,
    prove,
)
from snapcheck.place._route import Grid
from snapcheck.place._stand import Stand, _stand, _taste
from snapcheck.watch import watched

KIT = bundled_kit()
DESIGNS = Path(__file__).parents[2] / "fixtures" / "designs"
QUICK = 0.1
CHIP = [f"p{n}" for n in range(1, 9)]


def sample(name: str) -> Design:
    return load_design(DESIGNS / f"{name}.board", KIT)


def relaid(name: str, **options: object) -> LaidBoard:
    design = sample(name)
    options = {"effort": 0.25, **options}
    return lay(list_of(design, KIT), KIT, design.board.columns, design.board.rows, **options)  # type: ignore[arg-type]


def resistors(*pairs: str) -> PartsAndNets:
    """Resistors between nets of one letter, each with a value of its own."""
    return PartsAndNets(
        tuple(Item(f"R{n}", "resistor", {"a": a, "b": b}, 1000.0 * 1.5**n) for n, (a, b) in enumerate(pairs))
    )


# ---------------------------------------------------------------- sample circuits


@pytest.mark.parametrize(
    "name", ["first-light", "night-lamp", "glue-pot-alarm", "hiss-filter", "call-lamp", "delay-timer"]
)
def test_a_sample_is_laid_anew_as_short_as_by_hand(name: str) -> None:
    design = sample(name)
    laid = relaid(name)
    assert equivalence(build_circuit(design.board, KIT), build_circuit(laid.board, KIT))
    assert laid.leads == 0
    assert laid.occupied <= 1.3 * len(list(design.board.occupied))
    assert not build_circuit(laid.board, KIT).half_made  # no contact is left loose


def test_the_same_seed_gives_the_same_board() -> None:
    first, again = relaid("night-lamp", effort=QUICK), relaid("night-lamp", effort=QUICK)
    assert first.board == again.board and first.cells == again.cells


def test_signal_runs_to_the_right_and_supply_lies_above() -> None:
    wanted, laid = list_of(sample("hiss-filter"), KIT), relaid("hiss-filter")
    assert wanted.input is not None and wanted.output is not None
    assert laid.cells[wanted.input[0]].column < laid.cells[wanted.output[0]].column
    laid = relaid("night-lamp")
    by_kind = {laid.board.cubes[cell].kind: (cell, laid.board.cubes[cell]) for cell in laid.cells.values()}
    battery = by_kind["battery"][1]
    assert KIT["battery"].faces["plus"].turned(battery.turn) is Side.N
    assert by_kind["lamp"][0].row < by_kind["npn"][0].row  # between supply and collector
    grounds = [cube for cube in laid.board.cubes.values() if cube.kind == "ground"]
    assert all(cube.turn == 0 for cube in grounds)  # stem up, so the plate is below


def test_a_part_is_best_turned_with_its_signal_to_the_right_and_its_supply_above() -> None:
    def best(low: str, high: str, flow: Any) -> dict[str, Side]:
        """Sides of the ends of a resistor as it stands best between two nets."""
        item: Any = SimpleNamespace(nets={"a": low, "b": high})
        tastes = {turn: _taste(item, KIT["resistor"], turn, wanted, flow) for turn in TURNS}
        turn = max(tastes, key=lambda t: tastes[t])
        return {terminal: side for side, terminal, _, _ in KIT["resistor"].contacts_at[turn]}

    wanted: Any = SimpleNamespace(plate="0")
    level, ends = {"in": 0.5, "out": 0.5}, {"in": 0.0, "out": 1.0}
    along = SimpleNamespace(rails=set(), everywhere=set(), height=level, along=ends)
    assert best("in", "out", along) == {"a": Side.W, "b": Side.E}
    assert best("out", "in", along) == {"a": Side.E, "b": Side.W}
    upwards = SimpleNamespace(rails=set(), everywhere=set(), height={"low": 0.2, "high": 0.8},
                              along={"low": 0.5, "high": 0.5})  # fmt: skip
    assert best("low", "high", upwards) == {"a": Side.S, "b": Side.N}


def test_the_ground_that_a_battery_needs_takes_its_own_cell() -> None:
    grid, wanted = Grid(3, 3), SimpleNamespace(plate="0")
    item: Any = SimpleNamespace(nets={"plus": "supply", "minus": "0"})
    (turn,) = [t for t in TURNS if KIT["battery"].terminal_at(Side.N, t) == "plus"]

    def stand(row: int, column: int) -> Stand | None:
        return _stand(item, KIT["battery"], (turn, row, column), grid, {"supply": 1}, wanted, 0)  # type: ignore[arg-type]

    standing = stand(1, 1)
    assert standing is not None and standing.grounds == ((grid.index(2, 1), Side.N),)
    assert standing.mask == 1 << grid.index(1, 1) | 1 << grid.index(2, 1)
    assert stand(2, 1) is None  # no cell is left for it


# ---------------------------------------------------------------- any circuit

_KINDS = (
    "resistor",
    "led",
    "npn",
    "electrolytic",
    "potentiometer",
    "battery",
    "audio-in",
    "socket",
    "switch",
)


@st.composite
def lists(draw: st.DrawFn) -> PartsAndNets:
    """Small circuits with anything joined to anything."""
    items = []
    nets = ["0", "a", "b", "c", "d"][: draw(st.integers(2, 5))]
    for number in range(draw(st.integers(1, 6))):
        kind = KIT[draw(st.sampled_from(_KINDS))]
        free = [t for t in kind.terminals if t not in kind.on_plate]
        joined = {t: draw(st.sampled_from([*nets, None])) for t in free}
        items.append(Item(f"P{number}", kind.name, joined, 470.0 if kind.name == "resistor" else None))
    return PartsAndNets(tuple(items))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(lists(), st.integers(1, 7), st.integers(1, 6), st.booleans(), st.integers(0, 3))
def test_any_circuit_is_laid_rightly_or_not_at_all(
    wanted: PartsAndNets, columns: int, rows: int, leads: bool, seed: int
) -> None:
    try:
        laid = lay(wanted, KIT, columns, rows, leads=leads, seed=seed, effort=0.02)
    except DoesNotFitError as error:
        if error.nearest is None:
            return
        laid = error.nearest
        larger = laid.board.columns * laid.board.rows > columns * rows
        assert larger or laid.leads
    else:
        assert (laid.board.columns, laid.board.rows) == (columns, rows)
        assert leads or not laid.leads
    assert _joined(laid.board, laid, wanted) == _listed(wanted)


def _listed(wanted: PartsAndNets) -> set[frozenset[tuple[str, str]]]:
    """Which terminals the list joins."""
    nets: dict[str, set[tuple[str, str]]] = {"0": set()}
    for item in wanted.items:
        for terminal in KIT[item.kind].terminals:
            on_plate = terminal in KIT[item.kind].on_plate
            net = "0" if on_plate else item.nets[terminal] or f"{item.name} {terminal}"
            nets.setdefault(net, set()).add((item.name, terminal))
    return {frozenset(ends) for ends in nets.values()} - {frozenset()}


def _joined(board: Board, laid: LaidBoard, wanted: PartsAndNets) -> set[frozenset[tuple[str, str]]]:
    """Which terminals the board joins."""
    circuit = build_circuit(board, KIT)
    nets: dict[int | None, set[tuple[str, str]]] = {}
    for item in wanted.items:
        for terminal in KIT[item.kind].terminals:
            number = circuit.net_of(laid.cells[item.name], terminal)
            nets.setdefault(number, set()).add((item.name, terminal))
    return {frozenset(ends) for ends in nets.values()}


# ---------------------------------------------------------------- crossings


def test_what_is_not_planar_needs_a_crossing_or_a_lead() -> None:
    """Kuratowski: a complete bipartite graph of three and three nodes is not drawn without a crossing."""
    pairs = [a + b for a in "abc" for b in "def"]
    planar, _ = nx.check_planarity(nx.Graph(tuple(pair) for pair in pairs))
    assert not planar
    wanted = resistors(*pairs)
    laid = lay(wanted, KIT, 9, 8, effort=0.1)
    assert laid.cubes.get("crossover", 0) + laid.leads >= 1
    box = Stock({("resistor", item.value): 1 for item in wanted.items}
              | {(kind, None): 40 for kind in ("straight", "corner", "tee", "cross")})  # fmt: skip
    laid = lay(wanted, KIT, 9, 8, box=box, effort=0.1)
    assert "crossover" not in laid.cubes
    assert laid.leads >= 1


# ---------------------------------------------------------------- what does not fit


def test_too_small_a_plate_says_what_fits() -> None:
    wanted = list_of(sample("first-light"), KIT)
    with pytest.raises(DoesNotFitError, match=r"take 6 cells\. It fits on \d+ x \d+") as caught:
        lay(wanted, KIT, 2, 2, effort=QUICK)
    nearest = caught.value.nearest
    assert nearest is not None and nearest.leads == 0
    assert 8 <= nearest.board.columns * nearest.board.rows <= 16
    assert equivalence(build_circuit(sample("first-light").board, KIT), build_circuit(nearest.board, KIT))


def test_where_no_wire_is_leads_are_the_last_resort() -> None:
    wanted = resistors("ab", "bc", "ca", "ad", "bd")
    box = Stock({("resistor", item.value): 1 for item in wanted.items})
    laid = lay(wanted, KIT, 5, 4, box=box, effort=0.1)
    assert laid.leads >= 1 and set(laid.cubes) == {"resistor"}
    assert prove(wanted, laid.board, laid.cells, KIT).holds
    more = lay(wanted, KIT, 5, 4, box=Stock({**box.counts, ("socket", None): 20}), effort=0.1)
    assert prove(wanted, more.board, more.cells, KIT).holds
    ends = {end for lead in more.board.leads for end in lead.ends if isinstance(end, SocketEnd)}
    assert len(ends) == more.cubes.get("socket", 0) > 0  # in empty cells a socket cube holds the plug
    with pytest.raises(DoesNotFitError, match=rf"It fits with {laid.leads} leads|It fits with one lead"):
        lay(wanted, KIT, 5, 4, box=box, leads=False, effort=0.1)


def test_what_is_far_too_large_is_refused_at_once() -> None:
    many = resistors(*["ab"] * 60)
    with pytest.raises(DoesNotFitError, match="more than can be laid at once"):
        lay(many, KIT, 52, 40)


# ---------------------------------------------------------------- the box


def test_what_the_box_lacks_is_named() -> None:
    wanted = list_of(sample("first-light"), KIT)
    box = Stock(
        {
            ("battery", 9.0): 1,
            ("switch", None): 1,
            ("led", "red"): 1,
            ("ground", None): 1,
            ("corner", None): 9,
        }
    )
    with pytest.raises(InputError, match=r"0 of 1 resistor 470, 1 of 2 ground"):
        lay(wanted, KIT, 5, 4, box=box, effort=QUICK)


def test_tees_stand_in_for_corners_and_touch_nothing_with_the_leg_too_many() -> None:
    design = sample("first-light")
    wanted = list_of(design, KIT)
    parts = {("battery", 9.0): 1, ("switch", None): 1, ("led", "red"): 1, ("resistor", 470.0): 1}
    box = Stock({**parts, ("ground", None): 2, ("tee", None): 3})
    laid = lay(wanted, KIT, 5, 4, box=box, effort=QUICK)
    assert set(laid.cubes) <= {"battery", "switch", "led", "resistor", "ground", "tee"}
    assert equivalence(build_circuit(design.board, KIT), build_circuit(laid.board, KIT))


# ---------------------------------------------------------------- other kits, other forms


def test_cubes_of_several_cells_are_laid() -> None:
    wanted = PartsAndNets((
        Item("B1", "battery-box", {"plus": "v", "minus": "0"}, 9.0),
        Item("U1", "chip", dict(zip(CHIP, ("v", "x", "x", "0", "y", "y", "z", "z"), strict=True)), "RN8"),
        Item("LS1", "big-speaker", {"a": "z", "b": "0"}, 8.0),
        Item("X1", "socket-box", {"signal": "x"}),
        Item("R1", "resistor", {"a": "y", "b": "0"}, 470.0),
    ))  # fmt: skip
    laid = lay(wanted, LARGE_KIT, 10, 8, effort=0.6)
    assert laid.sameness is Sameness.SAME
    assert prove(wanted, laid.board, laid.cells, LARGE_KIT).holds


def test_the_proof_notices_every_cube_that_is_missing_or_turned() -> None:
    wanted = list_of(sample("night-lamp"), KIT)
    laid = relaid("night-lamp", effort=QUICK)
    assert prove(wanted, laid.board, laid.cells, KIT).holds
    for cell, cube in laid.board.cubes.items():
        less = {**laid.board.cubes}
        del less[cell]
        if cell not in laid.cells.values():
            assert not prove(wanted, replace(laid.board, cubes=less), laid.cells, KIT).holds, cell
        turned = Cube(cube.kind, (cube.turn + 90) % 360, cube.value, cube.printed)
        assert not prove(wanted, laid.board.put({cell: turned}), laid.cells, KIT).holds, cell


def test_a_stopped_search_stops() -> None:
    asked = []

    def stop() -> bool:
        asked.append(1)
        return len(asked) > 5

    with pytest.raises(StoppedError), watched(cancel=stop):
        relaid("speech-stage", effort=1.0)
    assert len(asked) == 6


def test_a_list_without_places_is_what_the_board_was() -> None:
    design = sample("two-lamp-flasher")
    wanted = list_of(design, KIT)
    assert "socket" not in {item.kind for item in wanted.items}  # they only held the leads
    assert wanted.output is not None and wanted.output[1] == "collector"
    text = "\n".join(
        " ".join(
            [item.name, item.kind, item.printed or "", *(f"{t}={n or '-'}" for t, n in item.nets.items())]
        )
        for item in wanted.items
    )
    assert parse_parts(text + "\n", "list", KIT).items == wanted.items

"""Touching contacts join; plate, taps and leads join the rest."""

import pytest

from snapcheck.board import Board, Cell, Cube, Lead, Seam, parse_end
from snapcheck.circuit import Gap, PartNames, build_circuit
from snapcheck.errors import InputError
from snapcheck.kit import PLATE, Contact, Kind, Kit, Side, bundled_kit, chips_kit

KIT = Kit(
    "tiny",
    "Tiny test kit",
    {
        k.name: k
        for k in (
            Kind("straight", "Straight", (Contact(Side.W, "a"), Contact(Side.E, "a")), wire=True),
            Kind(
                "crossover",
                "Crossover",
                (Contact(Side.W, "h"), Contact(Side.E, "h"), Contact(Side.N, "v"), Contact(Side.S, "v")),
                wire=True,
            ),
            Kind("ground", "Ground", (Contact(Side.N, PLATE),), plate_terminals=frozenset({PLATE})),
            Kind("socket", "Socket", (Contact(Side.E, "signal"),), sockets={Side.E: "signal", Side.W: PLATE}),
            Kind(
                "resistor",
                "Resistor",
                (Contact(Side.W, "a"), Contact(Side.E, "b")),
                model="resistor",
                prefix="R",
            ),
            Kind(
                "audio-in",
                "Input",
                (Contact(Side.E, "signal"),),
                plate_terminals=frozenset({PLATE}),
                model="audio-in",
                prefix="X",
            ),
        )
    },
)


def at(**cubes: Cube) -> dict[Cell, Cube]:
    return {Cell.parse(name): cube for name, cube in cubes.items()}


def test_touching_contacts_join_and_others_do_not() -> None:
    c = build_circuit(
        Board(4, 2, at(A1=Cube("resistor"), B1=Cube("straight"), C1=Cube("resistor"), A2=Cube("resistor"))),
        KIT,
    )
    assert [p.name for p in c.parts] == ["R101", "R102", "R103"]
    r1, r2, r3 = c.parts
    assert r1.nets["b"] == r2.nets["a"] == c.net_at(Cell.parse("B1"), Side.E)
    assert len({r1.nets["a"], r1.nets["b"], r2.nets["b"], r3.nets["a"], r3.nets["b"], 0}) == 6
    assert [str(x) for x in c.nets[r1.nets["b"]].contacts] == ["A1 right", "B1 left", "B1 right", "C1 left"]


def test_crossover_keeps_its_two_lines_apart() -> None:
    c = build_circuit(
        Board(
            3,
            3,
            at(
                A2=Cube("resistor"),
                B2=Cube("crossover"),
                C2=Cube("resistor"),
                B1=Cube("resistor", 90),
                B3=Cube("resistor", 90),
            ),
        ),
        KIT,
    )
    top, left, right, low = c.parts
    assert left.nets["b"] == right.nets["a"]
    assert top.nets["b"] == low.nets["a"]
    assert left.nets["b"] != top.nets["b"]


def test_ground_and_bodies_are_net_0() -> None:
    c = build_circuit(
        Board(2, 2, at(A1=Cube("audio-in"), B1=Cube("resistor"), B2=Cube("ground", 90), A2=Cube("socket"))),
        KIT,
    )
    audio = c.part_at[Cell.parse("A1")]
    assert audio.nets[PLATE] == 0 and audio.nets["signal"] == c.part_named["R101"].nets["a"] != 0
    assert c.net_at(Cell.parse("B2"), Side.E) == 0
    assert {str(x) for x in c.nets[0].contacts} >= {"A1 body", "B2 body", "B2 right", "A2 left"}
    assert [p.name for p in c.parts] == ["X101", "R101"]  # ground and socket are no parts


def test_leads_join_sockets_taps_and_the_plate() -> None:
    board = Board(
        5,
        1,
        at(
            A1=Cube("socket"),
            B1=Cube("resistor"),
            C1=Cube("resistor"),
            D1=Cube("resistor"),
            E1=Cube("socket", 180),
        ),
        frozenset({Seam.parse("B1|C1")}),
        (
            Lead(parse_end("socket A1 E"), parse_end("socket E1 W")),
            Lead(parse_end("tap B1|C1"), parse_end("socket E1 E")),
        ),
    )
    c = build_circuit(board, KIT)
    r1, r2, r3 = c.parts
    assert r1.nets["a"] == 0
    assert r1.nets["b"] == r2.nets["a"] == r3.nets["b"]
    assert c.nets[0].leads == board.leads[:1] and c.nets[r1.nets["b"]].leads == board.leads[1:]
    assert c.nets[r1.nets["b"]].taps == (Seam.parse("B1|C1"),)


@pytest.mark.parametrize(
    "text", ["tap", "hook B1|C1", "tap B1|C1 E", "socket A1", "socket A1 N", "plug A1 E", ""]
)
def test_what_is_no_end_of_a_lead_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="no lead end"):
        parse_end(text)


def test_beside_the_plate_there_is_no_net() -> None:
    c = build_circuit(Board(2, 2, at(A1=Cube("resistor"), B2=Cube("resistor"))), KIT)
    assert c.net_at(Cell.parse("B2"), Side.E) is not None
    off = [Cell(0, -1), Cell(-1, 0), Cell(0, 2), Cell(1, 2), Cell(2, 1)]
    assert {c.net_at(cell, side) for cell in off for side in Side} == {None}


def test_half_made_contacts_say_why() -> None:
    board = Board(
        3,
        2,
        at(A1=Cube("resistor"), B1=Cube("resistor", 90), C2=Cube("ground")),
        frozenset({Seam.parse("A2|B2")}),
        (
            Lead(parse_end("tap A2|B2"), parse_end("tap B1|C1")),
            Lead(parse_end("socket A1 E"), parse_end("tap A2|B2")),
        ),
    )
    c = build_circuit(board, KIT)
    assert [(str(h.cell), h.side, h.reason) for h in c.half_made] == [
        ("A1", Side.W, Gap.EDGE),
        ("A1", Side.E, Gap.BLANK),
        ("B1", Side.N, Gap.EDGE),
        ("B1", Side.S, Gap.EMPTY),
        ("C2", Side.N, Gap.EMPTY),
        ("A2", None, Gap.DEAD_TAP),
        ("B1", None, Gap.NO_TAP),
        ("A1", Side.E, Gap.NO_SOCKET),
    ]


@pytest.mark.parametrize("kit", [bundled_kit(), chips_kit()], ids=["workshop", "chips"])
def test_no_name_of_a_part_can_be_read_as_a_cell(kit: Kit) -> None:
    given = PartNames()
    names = [given.next(kind) for kind in kit.kinds.values() for _ in range(901)]
    assert len(set(names)) == len(names) and {"R101", "B102", "R999", "R1000"} <= set(names)
    for name in names:
        with pytest.raises(InputError, match="no cell address"):
            Cell.parse(name)

"""What a class needs beside what the box holds, and the lists made of it."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import pytest

from snapcheck import parts_list
from snapcheck.board import parse_layout
from snapcheck.box import Box, Need, Piece, needs, parse_box, parts_csv, parts_page
from snapcheck.box._swaps import _left
from snapcheck.errors import InputError
from snapcheck.kit import bundled_kit
from snapcheck.report import foot_css, style
from snapcheck.words import use_language

KIT = bundled_kit()
LARGEST = Path(__file__).parents[2] / "fixtures" / "designs" / "loudspeaker-amplifier.board"
DESIGN = parse_layout(
    """plate 5 x 4
title =Lamp, <first>
A1 resistor 470
B1 resistor 470
C1 led red anode=left
A2 electrolytic 100u/16V plus=up
B2 electrolytic 100u plus=up
A3 ground stem=up
tap A1|B1
""",
    "test",
    KIT,
)


def box(**counts: int) -> Box:
    names = {
        "r470": Piece("resistor", 470.0), "red": Piece("led", "red"), "ground": Piece("ground"),
        "c100": Piece("electrolytic", 100e-6), "c16": Piece("electrolytic", 100e-6, "", 16.0),
        "c63": Piece("electrolytic", 100e-6, "", 63.0), "c10": Piece("electrolytic", 100e-6, "", 10.0),
    }  # fmt: skip
    return Box("", {names[k]: n for k, n in counts.items()}, taps=3, plates={(4, 5): 2, (4, 4): 9})


def test_each_sort_is_needed_there_and_missing() -> None:
    told = needs(DESIGN, box(r470=5, red=9, ground=9, c16=2, c100=2), KIT, benches=3)
    by_kind = {(n.piece.kind, n.piece.rated_V): (n.needed, n.there, n.missing) for n in told.cubes}
    assert by_kind == {
        ("ground", None): (3, 9, 0),
        ("resistor", None): (6, 5, 1),
        ("led", None): (3, 9, 0),
        # the kit takes a capacitor without a printed voltage for one of 16 V: each serves for the other, once
        ("electrolytic", 16.0): (3, 3, 0),
        ("electrolytic", None): (3, 1, 2),
    }
    assert not told.fits and told.possible == 2
    many = box(r470=99, red=99, ground=99, c16=99, c100=99)
    for benches in (1, 4):
        for counted, possible in (({}, 2), ({"plates": {}}, 3), ({"plates": {}, "taps": 7}, 7)):
            assert needs(DESIGN, replace(many, **counted), KIT, benches).possible == possible
    plates, taps = told.loose
    assert (plates.there, plates.missing, taps.missing) == (2, 1, 0)


@pytest.mark.parametrize(("stock", "possible"), [({"c63": 4}, 2), ({"c16": 1, "c63": 3}, 2), ({"c10": 4}, 0)])
def test_a_capacitor_for_more_volts_serves_and_one_for_fewer_does_not(
    stock: dict[str, int], possible: int
) -> None:
    told = needs(DESIGN, box(r470=9, red=9, ground=9, **stock), KIT, benches=2)
    assert told.possible == possible


def test_what_bears_most_is_left_for_others() -> None:
    mine = box(c63=2, c16=1, r470=2, red=1, ground=1)
    left = _left(needs(DESIGN, mine, KIT), mine, KIT)
    assert {piece.rated_V: n for piece, n in left.items() if piece.kind == "electrolytic"} == {
        63.0: 1,
        16.0: 0,
    }


def test_the_list_for_a_spreadsheet_runs_nothing_and_reads_back() -> None:
    listed = parts_list([DESIGN], benches=2)
    rows = list(csv.reader(io.StringIO(parts_csv(listed, KIT))))
    assert rows[0] == ["kind", "print", "per bench", "benches", "in all"]
    assert ["resistor", "470R", "2", "2", "4"] in rows
    odd = listed.__class__("", 1, (Need(Piece("npn", "=HYPERLINK(1)"), 1, 0),), (), False)
    assert "'=HYPERLINK(1)" in parts_csv(odd, KIT)


def test_the_page_says_title_and_numbers_safely() -> None:
    page = parts_page(parts_list([DESIGN], benches=2, box=box(r470=1)), KIT, "")
    assert "<h1>=Lamp, &lt;first&gt;</h1>" in page
    assert "<td>470R</td>" in page and "tr class=short" in page


def test_a_netlist_makes_a_list_too(tmp_path) -> None:
    path = tmp_path / "divider.cir"
    path.write_text("divider\nV1 a 0 9\nR1 a b 4.7k\nR2 b 0 4.7k\n.end\n", encoding="utf-8")
    listed = parts_list([path], benches=3)
    assert [(n.piece.kind, n.piece.value, n.needed) for n in listed.cubes] == [
        ("resistor", 4700.0, 6),
        ("battery", 9.0, 3),
    ]


def test_impossible_numbers_of_benches_are_refused() -> None:
    for benches in (0, -1, 5000):
        with pytest.raises(InputError, match="not possible"):
            parts_list([DESIGN], benches=benches)


def test_an_empty_box_serves_nobody() -> None:
    assert needs(DESIGN, parse_box("[cubes]\n", "x", KIT), KIT).possible == 0


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_page_fits_the_paper(language: str) -> None:
    """Nothing of the table lies beyond the margin of an A4 sheet, long words of a language included."""
    weasyprint = pytest.importorskip("weasyprint", exc_type=(ImportError, OSError))
    use_language(language)
    try:
        listed = parts_list([LARGEST], benches=12, box=box(r470=1))
        page = parts_page(listed, KIT, style() + foot_css("x"))
    finally:
        use_language("en")
    for sheet in weasyprint.HTML(string=page).render().pages:
        body = sheet._page_box.children[0]
        edge = body.position_x + body.width + 1
        assert all(
            b.position_x + b.width <= edge for b in body.descendants() if type(b).__name__ == "TableCellBox"
        )

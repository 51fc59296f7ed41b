"""Top views and symbols: complete, readable, the same board in both themes."""

import io
import math
import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from boardmaker import KIT, boards
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from snapcheck.board import (
    LOOKS,
    Board,
    Cell,
    Cube,
    Seam,
    draw_png,
    draw_svg,
    load_design,
    parse_layout,
    svg_to_png,
    symbol_strokes,
    symbol_svg,
)
from snapcheck.board._draw import _curve, _socket_signs
from snapcheck.board._label import text_width
from snapcheck.kit import ValueForm

DESIGNS = sorted((Path(__file__).parents[2] / "fixtures" / "designs").glob("*.board"))
LONG = {"ohms": "4.7 kΩ", "farads": "100µ 16V", "henries": "4.7 mH", "volts": "8.2 V", "amperes": "500 mA",
        "type": "2N2222", "colour": "yellow", "volts/current": "3.5V/0.2A", "range": "15 V"}  # fmt: skip
SVG = "{http://www.w3.org/2000/svg}"


def pixels(svg: str, width: int = 260) -> np.ndarray:
    """Ink (0 to 1) of a drawing that stands on a transparent ground."""
    with Image.open(io.BytesIO(svg_to_png(svg, width=width))) as picture:
        return np.asarray(picture.convert("RGBA"))[:, :, 3] / 255.0


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
@pytest.mark.parametrize("name", sorted(KIT.kinds))
def test_a_label_keeps_clear_of_its_symbol(name: str, turn: int) -> None:
    kind = KIT[name]
    label = LONG.get(kind.value_form.value, "")
    svg = symbol_svg(kind, turn=turn, label=label, tile=False)
    plain = symbol_svg(kind, turn=turn, tile=False)
    symbol = pixels(plain)
    assert symbol.sum() > 200  # something is drawn
    for contact in kind.contacts:  # and the conductor reaches the middle of every side with a contact
        edge = {"N": symbol[6, :], "E": symbol[:, -7], "S": symbol[-7, :], "W": symbol[:, 6]}
        line = edge[contact.side.turned(turn).name]
        assert line[len(line) // 2 - 6 : len(line) // 2 + 6].max() > 0.5, contact
    if not label:
        assert kind.value_form is ValueForm.NONE
        return
    alone = re.sub(r"<path[^>]*/>|<circle[^>]*/>|<rect[^>]*/>", "", svg)
    text = pixels(alone)
    assert text.sum() > 100
    assert (text * symbol).sum() / text.sum() < 0.02  # letters and strokes do not run into each other
    inside = text[5:-5, 5:-5]
    assert inside.sum() == pytest.approx(text.sum())  # and stay on the cube
    sizes = [float(t.get("font-size", "0")) for t in ElementTree.fromstring(svg).iter(f"{SVG}text")]
    assert min(sizes) >= 11


def test_symbols_of_all_kinds_differ() -> None:
    drawn = {name: pixels(symbol_svg(kind, tile=False), 104) for name, kind in KIT.kinds.items()}
    names = sorted(drawn)
    for index, one in enumerate(names):
        for other in names[index + 1 :]:
            assert np.abs(drawn[one] - drawn[other]).sum() > 30, (one, other)


def test_turned_symbols_are_the_same_symbol_turned() -> None:
    for kind in KIT.kinds.values():
        assert len({len(symbol_strokes(kind, turn)) for turn in (0, 90, 180, 270)}) == 1
        upright = pixels(symbol_svg(kind, tile=False), 104)
        half = pixels(symbol_svg(kind, turn=180, tile=False), 104)
        assert half.sum() == pytest.approx(upright.sum(), rel=0.03)
        if kind.value_form is not ValueForm.RANGE and "+" not in symbol_svg(kind):
            assert np.abs(np.rot90(upright, 2) - half).mean() < 0.02, kind.name


def _luminance(colour: str) -> float:
    # relative luminance, WCAG 2.1
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.1."""
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_contrast(theme) -> None:
    look = LOOKS[theme]
    for tile in look.tiles.values():
        assert contrast(look.ink, tile) >= 7  # WCAG 2.1, 1.4.6 (AAA)
    assert contrast(look.quiet, look.page) >= 4.5
    assert contrast(look.alert, look.alert_ink) >= 4.5
    for colour in (*look.leads, look.alert):
        assert contrast(colour, look.plate) >= 3  # WCAG 2.1, 1.4.11, graphical objects
    assert len(set(look.leads)) == len(look.leads) >= 4


@given(board=boards())
@settings(max_examples=25, deadline=None)
def test_any_board_is_drawn_whole(board: Board) -> None:
    for theme in ("light", "dark"):
        root = ElementTree.fromstring(draw_svg(board, KIT, theme=theme))
        groups = [g for g in root.iter(f"{SVG}g") if g.get("transform", "").startswith("translate")]
        assert len(groups) == 1 + len(board.cubes)
        arcs = [p for p in root.iter(f"{SVG}path") if "Q" in p.get("d", "") and p.get("stroke-width") == "5"]
        assert len(arcs) == len(board.leads)


def test_words_from_outside_are_escaped() -> None:
    board = Board(1, 1, {Cell(0, 0): Cube("npn", 0, "BC547", '<b>&"')})
    root = ElementTree.fromstring(draw_svg(board, KIT, title="<script>&"))
    texts = [t.text for t in root.iter(f"{SVG}text")]
    assert "<script>&" in texts and '<b>&"' in texts
    assert not list(root.iter(f"{SVG}script"))


@given(text=st.text(max_size=30))
@settings(max_examples=60, deadline=None)
def test_any_words_give_a_picture(text: str) -> None:
    board = Board(1, 1, {Cell(0, 0): Cube("npn", 0, "BC547", text)})
    ElementTree.fromstring(draw_svg(board, KIT, title=text, badges={Cell(0, 0): text}))
    assert draw_png(board, KIT, title=text).startswith(b"\x89PNG")


def test_a_long_title_stays_on_the_page() -> None:
    words = "An unusually long title for a small plate, with Streichholzschachteletikett in it"
    root = ElementTree.fromstring(draw_svg(Board(2, 1), KIT, title=words))
    lines = [t for t in root.iter(f"{SVG}text") if t.get("text-anchor") == "start"]
    assert " ".join(t.text or "" for t in lines) == words and len(lines) > 3
    for line in lines:
        right = float(line.get("x", 0)) + text_width(line.text or "", float(line.get("font-size", 0)))
        assert right <= float(root.get("width", 0))


def test_badges_ghosts_and_net_colours() -> None:
    board = parse_layout("plate 3 x 1\nA1 resistor 1k\nB1 straight\n", "x", KIT).board
    svg = draw_svg(
        board,
        KIT,
        inks=lambda cell, terminal: "#123456" if terminal == "wire" else None,
        badges={Cell(0, 0): "7"},
        ghosts={Cell(0, 2): Cube("ground", 90)},
    )
    texts = [t.text for t in ElementTree.fromstring(svg).iter(f"{SVG}text")]
    assert "7" in texts and "#123456" in svg and "stroke-dasharray" in svg


def test_a_tap_is_drawn_on_its_seam() -> None:
    board = parse_layout("plate 2 x 1\nA1 straight\nB1 straight\ntap A1|B1\n", "x", KIT).board
    bare = parse_layout("plate 2 x 1\nA1 straight\nB1 straight\n", "x", KIT).board
    one, other = (
        np.asarray(Image.open(io.BytesIO(draw_png(b, KIT))).convert("L"), dtype=float) for b in (board, bare)
    )
    rows, columns = np.nonzero(np.abs(one - other) > 40)
    middle = one.shape[1] / 2
    assert len(rows) > 50 and abs(columns.mean() - middle) < 3
    assert board.taps == {Seam.parse("A1|B1")}


@pytest.mark.parametrize("file", DESIGNS, ids=lambda f: f.stem)
def test_sample_designs_as_png(file: Path) -> None:
    design = load_design(file, KIT)
    with Image.open(io.BytesIO(draw_png(design.board, KIT, width=700, title=design.title))) as picture:
        assert picture.size[0] == 700
        assert len(picture.convert("RGB").getcolors(1 << 20)) > 20


@pytest.mark.parametrize("name", ["loudspeaker-amplifier", "two-lamp-flasher"])
def test_leads_leave_the_signs_of_sockets_readable(name: str) -> None:
    """A lead ends at its plug: it runs neither over the other hole nor over the sign of the plate."""
    board = load_design(DESIGNS[0].with_name(f"{name}.board"), KIT).board
    signs = _socket_signs(board, KIT)
    arcs = re.findall(r'd="M(\S+) (\S+)Q(\S+) (\S+) (\S+) (\S+)" fill="none" stroke="#', draw_svg(board, KIT))
    assert len(arcs) == 2 * len(board.leads) > 0 and signs
    for arc in arcs:
        x0, y0, x1, y1, x2, y2 = map(float, arc)
        for at in signs:
            if min(math.dist(at, (x0, y0)), math.dist(at, (x2, y2))) > 9:
                assert all(math.dist(at, p) > 12 for p in _curve((x0, y0), (x1, y1), (x2, y2)))


def test_leads_stay_where_pictures_of_the_cubes_alone_show_them() -> None:
    """Pictures show the cells that hold something; a lead that swung out further would be cut off."""
    cubes = "".join(f"{c}{r} resistor 1k\n" for c in "CDEFGHI" for r in (4, 5))
    board = parse_layout(
        f"plate 11 x 8\n{cubes}B5 socket signal=right\nJ5 socket signal=left\nlead B5 to J5\n", "wide", KIT
    ).board
    ((x0, y0, mx, my, x1, y1),) = [
        tuple(map(float, found))
        for found in set(
            re.findall(r'd="M([\d.]+) ([\d.]+)Q([\d.-]+) ([\d.-]+) ([\d.]+) ([\d.]+)"', draw_svg(board, KIT))
        )
    ]
    deepest = (y0 + 2 * my + y1) / 4  # of a quadratic arc, half way
    assert 3 * 108 - 24 <= deepest <= 5 * 108 + 24 and x0 != x1 and mx > 0

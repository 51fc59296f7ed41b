"""Several photos of one build: what one hides another shows, and nothing is counted twice."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from snapcheck.board import Board, Cell, Cube, Lead, Seam, SocketEnd, TapEnd, parse_layout
from snapcheck.check._align import Alignment, _mirror_cube
from snapcheck.cli import main
from snapcheck.errors import PhotoError
from snapcheck.kit import Side, bundled_kit
from snapcheck.photo import (
    BlankReading,
    CubeReading,
    LeadReading,
    Reading,
    State,
    TapReading,
    reading_from_truth,
)
from snapcheck.together import MOST_PHOTOS, _key, _laid_on, together

KIT = bundled_kit()
PLAN = """plate 6 x 4
A1 corner ends=right+down
B1 resistor 470
C1 corner ends=left+down
A2 battery 9V plus=up
C2 led red anode=up
A3 ground stem=up
C3 electrolytic 10u plus=up
C4 ground stem=up
E1 socket signal=right
F1 ground stem=left
"""
BOARD = parse_layout(PLAN, "plan", KIT).board
AT = Cell.parse("B1")
OHMS = BOARD.cubes[AT]
OTHER = replace(OHMS, value=4700.0, printed="4k7")


def seen(board: Board = BOARD, name: str = "one.jpg", shift: float = 0.0, **changed: object) -> Reading:
    """A sure reading of a board, taken from a place of its own, but for these cells."""
    data = {
        "columns": board.columns,
        "rows": board.rows,
        "size": [600, 400],
        "cubes": [],
        "taps": [],
        "leads": [],
    }
    plain = reading_from_truth(data, name, KIT)
    plain = replace(
        plain, frame=replace(plain.frame, plate=plain.frame.plate + shift, tops=plain.frame.tops + 0 * shift)
    )
    cubes = {c: CubeReading(q, State.READ, 0.999) for c, q in board.cubes.items()}
    blanks = {
        Cell(r, c): BlankReading(State.READ, 0.999)
        for r in range(board.rows)
        for c in range(board.columns)
        if Cell(r, c) not in cubes
    }
    for place, r in changed.items():
        cell = Cell.parse(place)
        cubes.pop(cell, None)
        blanks.pop(cell, None)
        if isinstance(r, CubeReading):
            cubes[cell] = r
        elif isinstance(r, BlankReading):
            blanks[cell] = r
    return replace(plain, cubes=cubes, blanks=blanks)


def unsure(*chances: tuple[Cube | None, float]) -> CubeReading | BlankReading:
    (best, p), *rest = sorted(chances, key=lambda c: -c[1])
    if best is None:
        return BlankReading(State.UNSURE, p, tuple(rest), chances)
    return CubeReading(best, State.UNSURE, p, tuple(rest), "glare", chances=chances)


def test_what_one_photo_hides_another_shows() -> None:
    glared = seen(B1=unsure((OTHER, 0.5), (OHMS, 0.4)))
    clear = seen(name="two.jpg", shift=9.0)
    for pair in ([glared, clear], [clear, glared]):
        both = together(pair, KIT)
        assert not both.unsure and both.board == BOARD


def test_two_that_are_not_sure_can_be_sure_together_or_stay_open() -> None:
    likely = seen(B1=unsure((OHMS, 0.96), (OTHER, 0.03)))
    as_likely = seen(name="two.jpg", shift=9.0, B1=unsure((OHMS, 0.97), (OTHER, 0.02)))
    both = together([likely, as_likely], KIT)
    assert both.cubes[AT].state is State.READ and both.cubes[AT].cube == OHMS
    # Bayes' rule on shares that make one, as witnesses that are not quite independent
    odds = (0.96 * 0.97 / (0.03 * 0.02)) ** 0.8
    assert both.cubes[AT].confidence == pytest.approx(odds / (1 + odds), rel=1e-3)
    # two that are both misled by the same blur are sure of nothing
    blurred = [seen(name=f"{n}.jpg", shift=9.0 * n, B1=unsure((OTHER, 0.9), (OHMS, 0.02))) for n in (0, 1)]
    assert AT in together(blurred, KIT).unsure
    likely = seen(B1=unsure((OHMS, 0.9), (OTHER, 0.08)))
    against = seen(name="two.jpg", shift=9.0, B1=unsure((OTHER, 0.9), (OHMS, 0.08)))
    both = together([likely, against], KIT)
    assert both.cubes[AT].state is State.UNSURE and set(both.unsure) == {AT}
    assert {c.value for c in both.unsure[AT] if c} == {470.0, 4700.0}


def test_a_kind_is_weighed_before_its_value() -> None:
    """Print that one photo makes out in several ways does not speak for another kind."""
    npn, pnp = Cube("npn", 0, "BC547", "BC547"), Cube("pnp", 0)
    board = replace(BOARD, cubes={**BOARD.cubes, Cell.parse("E3"): npn})
    spread = unsure((npn, 0.4), (replace(npn, value="BC548"), 0.25), (Cube("npn", 0), 0.3), (pnp, 0.05))
    dark = unsure((Cube("npn", 0), 0.93), (pnp, 0.07))
    both = together([seen(board, E3=spread), seen(board, "two.jpg", 9.0, E3=dark)], KIT)
    assert both.cubes[Cell.parse("E3")].cube.kind == "npn"


def test_photos_that_are_sure_of_different_things_are_asked_about() -> None:
    other = seen(name="two.jpg", shift=9.0, B1=CubeReading(OTHER, State.READ, 0.999))
    both = together([seen(), other], KIT)
    assert AT in both.unsure and any("B1" in note for note in both.notes)


def test_the_same_picture_again_is_no_new_evidence() -> None:
    likely = seen(B1=unsure((OHMS, 0.9), (OTHER, 0.08)))
    again = together([likely, likely, replace(likely, photo="copy.jpg")], KIT)
    assert again.cubes[AT] == likely.cubes[AT]
    assert any("once" in note for note in again.notes)


def test_a_photo_from_the_other_side_is_turned() -> None:
    around = BOARD.turned(180)
    hidden = seen(B1=unsure((OTHER, 0.5), (OHMS, 0.4)))
    both = together([hidden, seen(around, "two.jpg", 9.0)], KIT)
    assert not both.unsure and both.board == BOARD


def test_photos_of_two_builds_are_refused() -> None:
    text = (
        "plate 6 x 4\nA1 lamp 6V/0.1A\nB2 npn BC547 base=left\nC3 switch\nD4 fuse 1A\nE2 buzzer plus=left\n"
    )
    with pytest.raises(PhotoError, match="do not show one build") as caught:
        together([seen(), seen(parse_layout(text, "t", KIT).board, "two.jpg", 9.0)], KIT)
    assert caught.value.way_out and "two.jpg" in str(caught.value)


def test_too_many_photos_are_refused() -> None:
    with pytest.raises(PhotoError, match="too many"):
        together([seen(name=f"{n}.jpg", shift=float(n)) for n in range(MOST_PHOTOS + 1)], KIT)


def test_taps_and_leads_are_weighed_too() -> None:
    seam = Seam.between(Cell.parse("B1"), Cell.parse("C1"))
    lead = Lead(TapEnd(seam), SocketEnd(Cell.parse("E1"), Side.E))
    wrong = Lead(TapEnd(seam), SocketEnd(Cell.parse("E1"), Side.W))

    def one(name: str, shift: float, p: float, tap: float) -> Reading:
        rivals = ((wrong, 1 - p),)
        return replace(
            seen(name=name, shift=shift),
            taps=(TapReading(seam, State.UNSURE, tap),),
            leads=(LeadReading(lead, State.UNSURE, p, rivals),),
        )

    both = together([one("one.jpg", 0.0, 0.95, 0.95), one("two.jpg", 9.0, 0.96, 0.97)], KIT)
    (tap,), (found,) = both.taps, both.leads
    assert tap.state is State.READ and found.state is State.READ and found.lead == lead
    # seen by one only: the other's silence counts against it
    gone = replace(seen(name="two.jpg", shift=9.0), taps=(), leads=())
    both = together([one("one.jpg", 0.0, 0.95, 0.95), gone], KIT)
    assert all(t.state is State.UNSURE for t in both.taps) and all(
        r.state is State.UNSURE for r in both.leads
    )


def test_remarks_that_only_one_photo_has_are_met_by_the_other() -> None:
    cut = replace(seen(), notes=("A corner of the plate lies outside the picture.",), edge="doubtful")
    assert together([cut, seen(name="two.jpg", shift=9.0)], KIT).remarks == ()


PHOTOS = Path(__file__).parents[2] / "fixtures" / "photos"


def test_the_command_line_takes_several(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    photo = PHOTOS / "first-light-good.jpg"
    plan = str(PHOTOS.parent / "designs" / "first-light.board")
    assert main(["check", str(photo), str(photo), plan, "--json", "--structure-only"]) == 12
    told = json.loads(capsys.readouterr().out)
    assert any("counts once" in f["title"] for f in told["findings"])
    other = PHOTOS / "hiss-filter-swapped.jpg"
    assert (
        main(["read", "--together", str(photo), str(other), "--out", str(tmp_path)]) == PhotoError.exit_code
    )
    assert "do not show one build" in capsys.readouterr().err and not list(tmp_path.iterdir())
    assert main(["check", str(photo), plan, plan]) == 21
    assert "only photos" in capsys.readouterr().err


#: a build with everything on it that may lie somewhere
RICH = parse_layout(
    PLAN + "D4 socket signal=left\ntap B1|C1\ntap A1|A2\nlead E1 E to B1|C1\nlead D4 W to A1|A2\n",
    "plan",
    KIT,
).board


def rich(board: Board, name: str, shift: float, turn: int) -> Reading:
    """A reading of RICH turned on the table, with doubts in known places."""
    way = Alignment(turn, 0, 0, 1.0, RICH.columns, RICH.rows)
    blank, doubtful = way.to_built(Cell.parse("F4")), way.to_built(Cell.parse("B1"))
    led = way.cube_on_built(BOARD.cubes[Cell.parse("C2")], KIT)
    ohms, other = (way.cube_on_built(c, KIT) for c in (OHMS, OTHER))
    made = seen(
        board, name, shift,
        **{str(blank): unsure((None, 0.9), (led, 0.1)), str(doubtful): unsure((other, 0.3), (ohms, 0.7))},
    )  # fmt: skip
    taps = tuple(TapReading(s, State.READ, 0.95) for s in sorted(board.taps))
    one, two = board.leads
    # each may also lie the other way round at its socket's end
    leads = tuple(LeadReading(a, State.READ, 0.95, ((Lead(a.start, b.end), 0.04),))
                  for a, b in ((one, two), (two, one)))  # fmt: skip
    return replace(made, taps=taps, leads=leads, loose=(way.to_built(Cell.parse("A4")),))


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_everything_of_a_turned_photo_comes_to_lie_where_it_is(turn: int) -> None:
    first = rich(RICH, "one.jpg", 0.0, 0)
    other = _laid_on(rich(RICH.turned(turn), "two.jpg", 9.0, turn), first, KIT)
    assert {c: r.cube for c, r in other.cubes.items()} == {c: r.cube for c, r in first.cubes.items()}
    for mine, its in ((first.cubes, other.cubes), (first.blanks, other.blanks)):
        assert mine.keys() == its.keys()
        for cell, r in mine.items():
            for name in ("chances", "alternatives"):
                there = {(_key(c, KIT), p) for c, p in getattr(its[cell], name)}
                assert there == {(_key(c, KIT), p) for c, p in getattr(r, name)}
    assert {(t.seam, t.confidence) for t in other.taps} == {(t.seam, t.confidence) for t in first.taps}

    def joined(reading: Reading) -> set[object]:
        return {(r.lead.ends, *((x.ends, p) for x, p in r.alternatives)) for r in reading.leads}

    assert joined(other) == joined(first)  # a socket's side is told as if the cube were not turned
    assert other.loose == first.loose


def test_a_mirrored_build_is_another_build() -> None:
    """A photo printed the wrong way round never shows the same build."""
    columns = BOARD.columns
    image = replace(BOARD, cubes={
        Cell(c.row, columns - 1 - c.column): _mirror_cube(q, KIT) for c, q in BOARD.cubes.items()
    })  # fmt: skip
    with pytest.raises(PhotoError, match="do not show one build"):
        together([seen(), seen(image, "two.jpg", 9.0)], KIT)


@pytest.mark.parametrize(("p", "state"), [(0.85, None), (0.97, State.UNSURE), (0.9999, State.READ)])
def test_a_tap_that_only_one_of_two_shows(p: float, state: State | None) -> None:
    """The other's silence makes it 0.08 likely: odds multiply."""
    seam = Seam.between(Cell.parse("B1"), Cell.parse("C1"))
    one = replace(seen(), taps=(TapReading(seam, State.READ, p),))
    found = together([one, seen(name="two.jpg", shift=9.0)], KIT).taps
    odds = p / (1 - p) * 0.08 / 0.92
    assert [t.state for t in found] == ([] if state is None else [state])
    assert all(t.confidence == pytest.approx(odds / (1 + odds)) for t in found)


def test_each_end_of_a_lead_is_used_once() -> None:
    seam = Seam.between(Cell.parse("B1"), Cell.parse("C1"))
    right, wrong = (Lead(TapEnd(seam), SocketEnd(Cell.parse("E1"), side)) for side in (Side.E, Side.W))
    one = replace(seen(), leads=(LeadReading(right, State.READ, 0.999),))
    two = replace(seen(name="two.jpg", shift=9.0), leads=(LeadReading(wrong, State.UNSURE, 0.95),))
    three = replace(seen(name="three.jpg", shift=20.0), leads=(LeadReading(wrong, State.UNSURE, 0.95),))
    found = together([one, two, three], KIT).leads
    assert len(found) == 1 and found[0].lead == wrong and [x for x, _ in found[0].alternatives] == [right]


# --- close-ups ---------------------------------------------------------------------------------------------


def close_up(turn: int, *, tilted: bool = True, lacking: int = 0, **changed: CubeReading) -> Reading:
    """Four columns and three rows of the board from nearby; the plate's edges are not in the picture.

    Args:
        turn: degrees that the camera was turned by, counterclockwise, so that the part lies turned clockwise.
        tilted: from another place than the whole photo.
        lacking: so many cubes, the last ones, are not made out.
    """
    whole = seen(**changed)
    part = {c: r for c, r in whole.cubes.items() if c.column < 4 and c.row < 3}
    for cell in list(part)[len(part) - lacking :]:
        del part[cell]
    way = Alignment(turn, 0, 0, 1.0, 4, 3)
    cubes = {
        way.to_built(c): replace(r, cube=way.cube_on_built(r.cube, KIT), chances=()) for c, r in part.items()
    }
    blanks = {way.to_built(c): b for c, b in whole.blanks.items() if c.column < 4 and c.row < 3}
    tops = np.array([[100.0, 0, 0], [0, 100, 0], [0.08 if tilted else 0, 0, 1]])
    frame = replace(whole.frame, size=(401, 401), tops=tops, centre=(200.0, 200.0), focal=1e6, k1=0.0)
    return replace(
        whole,
        photo="close.jpg",
        columns=4 if turn % 180 == 0 else 3,
        rows=3 if turn % 180 == 0 else 4,
        cubes=cubes,
        blanks=blanks,
        edge="doubtful",
        frame=frame,
    )


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_a_close_up_settles_what_it_shows_and_says_nothing_of_the_rest(turn: int) -> None:
    other_led = replace(BOARD.cubes[Cell.parse("C2")], value="blue", printed="blue")
    doubt = unsure((OTHER, 0.5), (OHMS, 0.4))
    far = unsure((Cube("ground", 90), 0.6), (Cube("ground", 270), 0.4))
    first = seen(B1=doubt, F1=far)
    both = together([first, close_up(turn)], KIT)
    assert set(both.unsure) == {Cell.parse("F1")} and both.cubes[AT].cube == OHMS
    assert both.cubes[Cell.parse("F1")] == first.cubes[Cell.parse("F1")]  # one witness: it says what it said
    assert (both.columns, both.rows) == (6, 4) and not both.edge and not both.notes
    # one that contradicts a sure cube is told
    apart = together([first, close_up(turn, C2=CubeReading(other_led, State.READ, 0.999))], KIT)
    assert any("C2" in note for note in apart.notes)


def test_a_close_up_says_nothing_of_leads() -> None:
    lead = Lead(SocketEnd(Cell.parse("E1"), Side.E), TapEnd(Seam.parse("B1|C1")))
    first = replace(
        seen(),
        leads=(LeadReading(lead, State.READ, 0.999),),
        taps=(TapReading(Seam.parse("B1|C1"), State.READ, 0.999),),
    )
    both = together([first, replace(close_up(0), taps=first.taps)], KIT)
    assert [r.lead for r in both.leads] == [lead] and both.leads[0].state is State.READ


def test_a_piece_cut_out_of_the_photo_itself_is_no_evidence() -> None:
    first = seen(B1=unsure((OTHER, 0.5), (OHMS, 0.4)))
    straight = np.array([[50.0, 0, 20], [0, 50, 30], [0, 0, 1]])
    first = replace(first, frame=replace(first.frame, tops=straight, size=(600, 400), focal=1e6, k1=0.0))
    assert AT in together([first, close_up(0, tilted=False)], KIT).unsure
    assert AT not in together([first, close_up(0)], KIT).unsure


def test_a_close_up_that_fits_nowhere_or_in_two_places_is_refused() -> None:
    with pytest.raises(PhotoError, match=r"fits nowhere in one\.jpg"):
        together([seen(), close_up(0, lacking=5)], KIT)
    wires = parse_layout(
        "plate 9 x 9\n" + "\n".join(f"{c}{r} straight ends=up+down" for c in "ABCDEFG" for r in range(1, 8)),
        "wires",
        KIT,
    ).board
    part = replace(
        wires, columns=4, rows=4, cubes={c: q for c, q in wires.cubes.items() if c.column < 4 and c.row < 4}
    )
    with pytest.raises(PhotoError, match="more than one place"):
        together([seen(wires), replace(seen(part, "close.jpg"), edge="doubtful")], KIT)

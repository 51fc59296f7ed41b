"""Cells that a person decided in a course teach its kit where its teacher asks for it: a small course with
two photos of a kit in made-up artwork."""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
import strangekits as strange

from snapcheck import api
from snapcheck.board import Board, Cell, Cube
from snapcheck.cli import main
from snapcheck.cli._teach_from import tell_teachable
from snapcheck.decisions import cube_line
from snapcheck.errors import InputError
from snapcheck.grade import Left, Store, StoredFile, load_course
from snapcheck.grade._submissions import digest
from snapcheck.grade._work import reader_name, reader_of
from snapcheck.grade.out import forget
from snapcheck.kit import bundled_kit, parse_kit
from snapcheck.photo import (
    BlankReading,
    CubeReading,
    Notebook,
    Reading,
    State,
    notebook_of,
    picture_of_array,
    read_picture,
    reading_to_json,
)
from snapcheck.photo._learn import COURSE_SHARE, _weights
from snapcheck.photo._views import EMPTY, VIEWS
from snapcheck.photo._worth import RIGHT_LOST, SURE_LOST, Gain

KIT = bundled_kit()
KINDS = ("led", "lamp", "fuse")
CLASS = Path(__file__).parents[2] / "fixtures" / "class"


def drawn(board: Board, seed: int) -> np.ndarray:
    return strange.photo(board, KIT, strange.STYLES["signs-a"], seed, 8.0)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A course whose kit was taught by one photo, with a photo of T-101 and one of T-102, read, and five
    decisions: an exchanged pair, one confirmed, one nothing, one against what the photo shows."""
    folder = tmp_path_factory.mktemp("taught") / "class"
    shutil.copytree(CLASS, folder, ignore=shutil.ignore_patterns("readings", "submissions"))
    (board,) = api.primer(plate=(4, 3), kinds=KINDS)
    api.teach(None, [picture_of_array(drawn(board, 1), "p", colours="bgr")], plate=(4, 3), kinds=KINDS,
              name="signs").save(folder / "own.toml")  # fmt: skip
    text = (folder / "course.toml").read_text(encoding="utf-8")
    (folder / "course.toml").write_text('kit = "own.toml"\n' + text, encoding="utf-8")
    course = load_course(folder)
    shown = Board(4, 3, {Cell(0, 0): Cube("led"), Cell(0, 2): Cube("lamp", 90), Cell(1, 1): Cube("fuse"),
                         Cell(1, 3): Cube("led", 180), Cell(2, 0): Cube("lamp")})  # fmt: skip

    def own(name: str) -> str:
        return cube_line(Cell.parse(name), shown.cubes[Cell.parse(name)], shown, KIT)

    with Store(course.store) as store:
        files = []
        for number, student in enumerate(("T-101", "T-102")):
            path = f"first-light/{student}_2031-03-05T1630.png"
            (folder / "submissions" / path).parent.mkdir(parents=True, exist_ok=True)
            data = cv2.imencode(".png", drawn(shown, 30 + number))[1].tobytes()
            (folder / "submissions" / path).write_bytes(data)
            seen = read_picture(picture_of_array(cv2.imdecode(np.frombuffer(data, np.uint8), 1), "p",
                                                 colours="bgr"), "p", course.kit)  # fmt: skip
            body = reading_to_json(unsure(seen, shown))
            store.put_reading(digest(data), 1, reader_name(reader_of(course)), "read", body, "", "")
            files.append(StoredFile(path, digest(data), len(data), "", student, "first-light", "name", ""))
        store.put_files(files)
        for file, line in (
            (files[0], own("A1")), (files[0], own("C1")), (files[0], own("D2")),
            (files[1], "remove B2"), (files[1], "A3 fuse"),
        ):  # fmt: skip
            store.decide("cell", by="ann", subject=file.sha, choice=line, reason="seen")
    return folder


def unsure(seen: Reading, shown: Board) -> Reading:
    """As read, but for two cubes: A1 read as a lamp, C1 not sure."""
    cubes = {c: CubeReading(q, State.READ, 0.999) for c, q in shown.cubes.items()}
    cubes[Cell(0, 0)] = CubeReading(Cube("lamp"), State.UNSURE, 0.5, chances=((Cube("lamp"), 0.5),))
    cubes[Cell(0, 2)] = CubeReading(Cube("lamp", 90), State.UNSURE, 0.5)
    blanks = {Cell(2, 3): BlankReading(State.READ, 0.99)}
    return Reading("p", 4, 3, cubes, (), (), seen.frame, (), blanks)


def book(text: str) -> Notebook:
    return notebook_of(parse_kit(text, "own").taught[0])


@pytest.fixture(scope="module")
def learnt(folder: Path) -> api.Teaching:
    return api.teach_from(folder / "own.toml", folder)


def test_what_would_be_learnt_is_told_and_nothing_without_being_asked(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = (folder / "own.toml").read_bytes()
    kit = str(folder / "own.toml")
    assert main(["teach", kit, "--from", str(folder), "--list"]) == 0
    said = capsys.readouterr().out
    assert "can be learnt: 3 (led 2, lamp 1); read otherwise before: 1, only confirmed: 2." in said
    assert "Not learnt, 1: decided that nothing stands there." in said
    assert "5: A3 first-light/T-102_2031-03-05T1630.png: decided fuse turned 0°, the photo shows lamp" in said
    assert "--also 5" in said
    assert main(["teach", kit, "--from", str(folder), "--list", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["cells"]
    assert told["left_out"] == {"nothing": [4], "doubtful": [5]} and told["confirmed"] == 2
    tell_teachable(load_course(folder))
    assert f"could learn: 3. snapcheck teach {kit} --from {folder}" in capsys.readouterr().err
    assert api.teachable(folder) == 3 and (folder / "own.toml").read_bytes() == before
    assert len(api.corrections(folder, also=[5]).ready) == 4
    assert main(["teach", kit, "--from", str(folder), "--also", "1"]) != 0
    assert main(["teach", kit, "--from", str(folder), "--plate", "4x3"]) != 0


def test_cells_are_learnt_as_numbers_without_pictures_or_names(folder: Path, learnt: api.Teaching) -> None:
    text = (folder / "own.toml").read_text(encoding="utf-8")
    assert learnt.gain is not None and (learnt.lessons, learnt.gain.cells) == (2, 3)
    last = book(learnt.text).lessons[-1]
    assert book(learnt.text).lessons[0].coded[:3] == b"\xff\xd8\xff"  # of what was laid, as the help says
    assert (
        last.coded == b""
        and last.residual == 0
        and last.pieces == ("led", "lamp", "led")
        and last.quarters == (0, 1, 2)
    )
    assert last.numbers is not None and last.numbers.features.shape[:3] == (3, 4, VIEWS)
    assert last.places == ("0 A1", "0 C1", "0 D2") and len(set(last.marks)) == 3
    for secret in ("T-101", "first-light", "Evening", hashlib.sha256(b"T-101").hexdigest()[:12]):
        assert secret not in learnt.text.replace(text, "") and secret not in repr(last)
    assert not any(len(value) > 2000 for value in (last.coded, *last.places))
    assert len(parse_kit(learnt.text, "k").taught[0].data) < len(parse_kit(text, "k").taught[0].data) + 60_000


def test_the_same_cells_are_not_learnt_twice_and_can_be_taken_back(
    folder: Path, learnt: api.Teaching, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (folder / "own.toml").read_text(encoding="utf-8")
    learnt.save(tmp_path / "own.toml")
    told = api.corrections(folder, tmp_path / "own.toml")
    assert {c.number for c in told.left_out[Left.KNOWN]} == {1, 2, 3} and told.ready == ()
    shutil.copytree(folder, tmp_path / "class")
    learnt.save(tmp_path / "class" / "own.toml")
    course = load_course(tmp_path / "class")
    tell_teachable(course)
    assert capsys.readouterr().err == ""
    with Store(course.store) as store:
        assert any("without pictures or names" in line for line in forget(course, store, "T-101").remains)
    assert (tmp_path / "class" / "own.toml").read_text(encoding="utf-8") == learnt.text
    again = api.taught_again(learnt.text, back=True)
    assert (again.lessons, again.text) == (1, text)


def test_other_networks_cannot_learn_from_numbers_and_say_so(learnt: api.Teaching) -> None:
    (taught,) = parse_kit(learnt.text, "k").taught
    other = notebook_of(type(taught)(taught.name, "another", taught.data))
    assert (other.lost, len(other.lessons), other.scale) == (3, 1, None)


def test_a_photo_that_is_gone_or_another_teaches_nothing(folder: Path, tmp_path: Path) -> None:
    shutil.copytree(folder, tmp_path / "class")
    photo = next((tmp_path / "class" / "submissions").rglob("T-101*"))
    photo.write_bytes(b"another")
    none = api.teach_from(tmp_path / "class" / "own.toml", tmp_path / "class")
    assert none.gain is None and none.cells is not None and none.lessons == 1
    assert {c.number for c in none.cells.left_out[Left.GONE]} == {1, 2, 3}
    with pytest.raises(InputError, match="not taught anything"):
        api.corrections(folder, "bundled")


def test_a_kit_that_becomes_worse_is_not_kept_unless_asked_for(
    folder: Path, learnt: api.Teaching, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    kit, out = str(folder / "own.toml"), tmp_path / "new.toml"
    for gain, words, code in ((WORSE, [], 1), (WORSE, ["--anyway"], 0), (FINE, [], 0)):
        made = replace(learnt, gain=gain)
        monkeypatch.setattr("snapcheck.api.teach_from", lambda *a, made=made, **k: made)
        out.unlink(missing_ok=True)
        assert main(["teach", kit, "--from", str(folder), "-o", str(out), *words]) == code
        assert out.exists() is (code == 0)
        said = capsys.readouterr().out
        assert ("nothing was kept" in said) is (code == 1) and ("--back" in said) is (code == 0)


FINE = Gain(100, 98, 98, 90, 90, 20, 15, 18)
WORSE = Gain(100, 98, 90, 90, 90, 20, 15, 18)


def test_worse_is_fewer_right_or_clearly_fewer_sure() -> None:
    unsure, wrong = int(SURE_LOST * 100), int(RIGHT_LOST * 100)
    for gain, worse in (
        (FINE, False), (WORSE, True),
        (Gain(100, 98, 98, 90, 90, 20, 15, 14), True),
        (Gain(100, 98, 98 - wrong, 90, 90, 20, 15, 15 + wrong), False),
        (Gain(100, 98, 98 - wrong, 90, 90, 20, 15, 14 + wrong), True),
        (Gain(100, 98, 97 - wrong, 90, 90, 20, 15, 20), True),
        (Gain(100, 98, 98, 90, 90 - unsure, 20, 15, 15), False),
        (Gain(100, 98, 98, 90, 89 - unsure, 20, 15, 15), True),
        (Gain(10, 10, 10 - wrong, 8, 8 - unsure, 20, 15, 15 + wrong), False),  # of so few as of a hundred
        (Gain(10, 10, 9 - wrong, 8, 8, 20, 15, 20), True),
        (Gain(10, 10, 10, 8, 7 - unsure, 20, 15, 15), True),
    ):  # fmt: skip
        assert gain.worse is worse, gain


def test_a_courses_cells_do_not_drown_what_was_laid() -> None:
    pieces = ("led",) * 4 + ("fuse",) * 4 + (EMPTY,) * 9 + ("led",) * 2 + ("fuse",) * 40 + ("lamp",) * 10
    own = np.arange(len(pieces)) < 17
    weight, names = _weights(pieces, own), np.array(pieces)
    for kind, n in (("led", 2), ("fuse", 40)):
        laid, course = weight[own & (names == kind)].sum(), weight[~own & (names == kind)].sum()
        assert laid + course == pytest.approx(4) and course <= COURSE_SHARE * laid + 1e-9
        assert course / n <= laid / 4 + 1e-9
    assert weight[names == "lamp"].sum() == pytest.approx(8.5 * COURSE_SHARE)
    assert (_weights(pieces[:17], own[:17]) == 1).all()

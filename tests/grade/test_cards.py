"""Bench cards: printed, laid into photos, read again; the reader in use measured against the other ones."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest
from class_reader import read_class
from here import HereCrew

from snapcheck.board import svg_to_png
from snapcheck.cli import main
from snapcheck.grade import Store, load_course, run_batch
from snapcheck.grade._attempts import _with_card
from snapcheck.grade._card import Card, card_text
from snapcheck.grade._cards import CODE, PAGE, code_modules, sheets_svg
from snapcheck.grade._course import Belonging
from snapcheck.simulate import is_available

ROOT = Path(__file__).parents[2]
COURSE = load_course(ROOT / "fixtures" / "class")
PHOTOS = sorted((ROOT / "fixtures" / "photos").glob("*.jpg"))[:3]


def with_card(
    photo: Any, card: Card, size: float, chance: np.random.Generator, tilt: float, blur: float, light: float
) -> bytes:
    """A photo with a card laid into it: turned, tilted, blurred, in weak light, with noise, as JPEG."""
    code = np.where(code_modules(card), 0, 255).astype(np.uint8)
    code = cv2.resize(code, (480, 480), interpolation=cv2.INTER_NEAREST)
    h, w = photo.shape[:2]
    angle = chance.uniform(0, 2 * np.pi)
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * size / 2
    corners[:, 1] *= np.cos(tilt)
    corners = corners * (1 + 0.15 * np.sin(tilt) * corners[:, 1:] / size)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    corners = corners @ turn.T + [chance.uniform(size, w - size), chance.uniform(size, h - size)]
    flat = np.float32([[0, 0], [480, 0], [480, 480], [0, 480]])  # type: ignore[arg-type]
    warp = cv2.getPerspectiveTransform(flat, corners.astype(np.float32))
    seen = cv2.warpPerspective(cv2.cvtColor(code, cv2.COLOR_GRAY2BGR), warp, (w, h), flags=cv2.INTER_AREA)
    there = cv2.warpPerspective(np.full(code.shape, 255, np.uint8), warp, (w, h))[..., None] / 255.0
    picture = photo * (1 - there) + (seen * 0.8 + 20) * there * light
    if blur:
        picture = cv2.GaussianBlur(picture, (0, 0), blur)
    picture = picture + chance.normal(0, 6, picture.shape)
    return bytes(
        cv2.imencode(".jpg", picture.clip(0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 80])[1]
    )


def by_opencv(detector: Any, data: bytes, card: Card) -> bool:
    grey = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
    try:
        found, texts, _, _ = detector.detectAndDecodeMulti(grey)
    except cv2.error:
        return False
    return bool(found) and card.text in texts


def test_the_reader_in_use_reads_most() -> None:
    chance = np.random.default_rng(3)
    plain, aruco = cv2.QRCodeDetector(), cv2.QRCodeDetectorAruco()
    ours = first = second = tried = 0
    for path in PHOTOS:
        photo = cv2.imread(str(path)).astype(float)
        scale = 1600 / max(photo.shape)
        photo = cv2.resize(photo, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        for size in (140, 240):
            for tilt, blur, light in ((0, 0, 1), (0.5, 0, 1), (0.5, 1.2, 1), (0.9, 0.7, 0.4)):
                card = Card(f"T-{chance.integers(100, 999)}", "first-light")
                data = with_card(photo, card, size, chance, tilt, blur, light)
                tried += 1
                text = card_text(data)
                assert text in ("", card.text)  # never another one
                ours += text == card.text
                first += by_opencv(plain, data, card)
                second += by_opencv(aruco, data, card)
    print(f"of {tried}: zxing-cpp {ours}, OpenCV {first} and {second}")
    assert ours > max(first, second)
    assert ours >= 0.6 * tried


def test_a_printed_sheet_is_read_card_by_card() -> None:
    sheets = sheets_svg(COURSE, "night-lamp")
    assert len(sheets) == 2  # twelve students, ten to a page
    found: set[str] = set()
    for sheet in sheets:
        data = svg_to_png(
            sheet.replace(f'width="{PAGE[0]:g}mm" height="{PAGE[1]:g}mm"', 'width="1240" height="1754"')
        )
        found |= set(card_text(data).split("\n"))
    assert found == {Card(s.number, "night-lamp").text for s in COURSE.students}
    assert all(s.name in "".join(sheets) for s in COURSE.students)
    assert CODE / len(code_modules(Card("T-101", "night-lamp"))) > 1  # a module is wider than a millimetre


@pytest.mark.parametrize("text", ["snapcheck:T-1", "other:T-1:x", "snapcheck::x", "https://example.org"])
def test_other_codes_are_no_cards(text: str) -> None:
    assert Card.parse(text) is None


@pytest.mark.parametrize("ending", ["pdf", "html", "svg"])
def test_written_by_the_command_line(ending: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / f"cards.{ending}"
    assert main(["cards", str(COURSE.folder), "--out", str(out)]) == 0
    for line in capsys.readouterr().out.split():
        assert Path(line).stat().st_size > 3000
    assert main(["cards", str(COURSE.folder), "--out", str(tmp_path / "cards.docx")]) == 21
    assert main(["cards", str(COURSE.folder), "--task", "nothing", "--out", str(out)]) == 21


@pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
def test_a_card_of_any_task_says_the_task_where_there_is_but_one() -> None:
    course: Any = SimpleNamespace(students=COURSE.students, tasks=COURSE.tasks[:1])
    number, name = COURSE.students[0].number, COURSE.tasks[0].name
    lost = Belonging(None, None, None, "", "no name fits")  # by the name of the picture
    told = _with_card(course, lost, Card(number, "").text)
    assert (told.student, told.task, told.problem) == (number, name, "")
    open_ = _with_card(COURSE, lost, Card(number, "").text)
    assert open_.task is None and open_.problem


def test_a_card_says_whose_picture_it_is_and_nothing_is_guessed(tmp_path: Path) -> None:
    folder = tmp_path / "class"
    shutil.copytree(COURSE.folder, folder)
    shutil.copytree(COURSE.folder.parent / "designs", tmp_path / "designs")
    plain = (
        (folder / "course.toml")
        .read_text(encoding="utf-8")
        .replace('patterns = ["{task}/{student}_{time}"]\n', "")
    )
    (folder / "course.toml").write_text(plain, encoding="utf-8")
    shutil.rmtree(folder / "submissions")
    photo = cv2.resize(cv2.imread(str(PHOTOS[0])), (1200, 900)).astype(float)
    chance = np.random.default_rng(1)

    def put(name: str, *cards: Card) -> None:
        picture = photo
        for card in cards:
            data = with_card(picture, card, 260, chance, 0.2, 0, 1)
            picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR).astype(float)
        (folder / "submissions").mkdir(exist_ok=True)
        cv2.imwrite(str(folder / "submissions" / f"{name}.jpg"), picture)

    put("IMG_0001", Card("T-101", "night-lamp"))
    put("IMG_0002")
    put("IMG_0003", Card("T-999", "night-lamp"))
    put("T-102 night-lamp", Card("T-103", "night-lamp"))
    course, crew = load_course(folder), HereCrew()
    with Store(course.store) as store:
        run_batch(course, store, crew, reader=read_class)
        files = {f.path: f for f in store.files()}
    crew.close()
    assert (files["IMG_0001.jpg"].student, files["IMG_0001.jpg"].task) == ("T-101", "night-lamp")
    assert [files[n].student for n in ("IMG_0002.jpg", "IMG_0003.jpg", "T-102 night-lamp.jpg")] == [None] * 3
    assert "not of this course" in files["IMG_0003.jpg"].problem
    assert "disagree" in files["T-102 night-lamp.jpg"].problem


@pytest.mark.parametrize(
    ("pattern", "path"),
    [
        ("{student}", "T-101.jpg"),
        ("{student}.{any}", "T-101.jpg"),
        ("{any}/{student}_{any}", "a/T-101_x.y.jpg"),
    ],
)
def test_a_pattern_fits_with_and_without_the_ending(pattern: str, path: str) -> None:
    from dataclasses import replace

    from snapcheck.grade._course import belongs_by_name

    course = replace(COURSE, patterns=(pattern,), tasks=COURSE.tasks[:1])
    assert belongs_by_name(course, path).student == "T-101"


def test_a_long_title_takes_several_lines_instead_of_being_squeezed() -> None:
    course = load_course(Path(__file__).parents[2] / "fixtures" / "class")
    sheet = sheets_svg(replace(course, title="Evening workshop for beginners: lamps, light and much more"))[0]
    assert ">Evening workshop for<" in sheet and ">beginners: lamps," in sheet

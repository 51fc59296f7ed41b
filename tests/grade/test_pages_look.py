"""Pages for students and teachers: in their language, and readable on a phone."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from class_reader import TAKE_AGAIN, read_class
from here import HereCrew

from snapcheck.cli import main
from snapcheck.grade import Store, load_course, run_batch
from snapcheck.grade import out as o
from snapcheck.simulate import is_available
from snapcheck.words import use_language

CLASS = Path(__file__).parents[2] / "fixtures" / "class"
BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
pytestmark = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")


@pytest.fixture(scope="module", params=["en", "de"])
def made(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Every page of the sample class in one language."""
    folder = tmp_path_factory.mktemp(request.param)
    shutil.copytree(CLASS, folder / "class")
    shutil.copytree(CLASS.parent / "designs", folder / "designs")
    use_language(request.param)
    crew = HereCrew()
    try:
        course = load_course(folder / "class")
        with Store(course.store) as store:
            grades = run_batch(course, store, crew, reader=read_class).grades
            for only in ("T-105", "T-111"):
                o.write_feedback(course, store, crew, folder / "out", only=only, reader=read_class)
        (folder / "out" / "sheet.html").write_text(o.sheet_page(course.rubric), encoding="utf-8")
        (folder / "out" / "overview.html").write_text(o.overview_page(course, grades), encoding="utf-8")
        yield folder / "out"
    finally:
        crew.close()
        use_language("en")


def words(page: Path) -> str:
    """What a person reads on a page."""
    text = re.sub(r"<(style|svg)\b.*?</\1>", " ", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text))


def test_feedback_speaks_one_language_throughout(made: Path) -> None:
    """The pages are made in other processes, which must be told the language."""
    dangerous = made / "T-105_first-light.html"
    told, page = words(dangerous), dangerous.read_text(encoding="utf-8")
    english = ("Do not power", "What belongs on the plate", "not met:", "Promised figures", "closed")
    if 'lang="de"' in page:
        assert not [word for word in english if word in told]
        assert "Nicht einschalten" in told and "Was an die Platte gehört" in told and "1,5 / 3" in told
    else:
        assert 'lang="en"' in page and "Nicht einschalten" not in told and "1.5 / 3" in told


def test_cautions_stand_before_the_grade_and_never_empty(made: Path) -> None:
    page = (made / "T-105_first-light.html").read_text(encoding="utf-8")
    assert page.index('class="cautions"') < page.index('class="points"')
    assert not re.findall(r"<ul>\s*</ul>", page)


def test_a_picture_that_cannot_be_read_gives_no_table_of_noughts_but_says_what_to_do(made: Path) -> None:
    page = (made / "T-111_night-lamp.html").read_text(encoding="utf-8")
    assert 'grade-table"' not in page and "0 / 2" not in page
    assert page.count("<li>") >= 2  # why, and how to take it again
    assert (TAKE_AGAIN in page) == ('lang="en"' in page) and ("Das Foto neu" in page) == ('lang="de"' in page)


@pytest.mark.skipif(BROWSER is None, reason="no Chromium here; .ci/run installs one")
def test_pages_fit_a_phone_and_no_column_is_squeezed(made: Path) -> None:
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=BROWSER, args=["--no-sandbox"])
        for width in (390, 1000):
            page = browser.new_page(viewport={"width": width, "height": 800})
            for file in sorted(made.glob("*.html")):
                page.goto(file.as_uri())
                assert page.evaluate("document.documentElement.scrollWidth") <= width, (file.name, width)
                last = page.evaluate(
                    "[...document.querySelectorAll('.grade-table th:last-child, .sheet-table th:last-child')]"
                    ".map(e => e.getBoundingClientRect().width / e.closest('table').clientWidth)"
                )
                told = file.stem in ("T-105_first-light", "sheet")  # with reasons, which need room
                assert not told or all(share > 0.25 for share in last), (file.name, width, last)
        browser.close()


def test_verdicts_are_told_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rubric", "--lang", "de"]) == 0
    told = capsys.readouterr().out
    assert "does-not-work" not in told and "Nicht einschalten." in told and "Aufbau nach Plan" in told


def test_export_into_a_place_that_cannot_be_is_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(CLASS, tmp_path / "class", ignore=shutil.ignore_patterns("*.jpg"))
    shutil.copytree(CLASS.parent / "designs", tmp_path / "designs")
    folder = str(tmp_path / "class")
    assert main(["grade", folder]) in (0, 1)
    capsys.readouterr()
    (tmp_path / "file").write_text("x")
    assert main(["export", folder, "gradebook", "--out", str(tmp_path / "file" / "x")]) == 21
    assert "the folder cannot be made" in capsys.readouterr().err
    own = {f"{folder}/{name}": Path(folder, name).read_bytes() for name in ("roster.csv", "gradebook.db")}
    for file, before in own.items():
        assert main(["grade", folder, "--stored", "--gradebook", file]) == 21
        assert "file of the course itself" in capsys.readouterr().err and Path(file).read_bytes() == before
    assert main(["forget", folder, "T-999"]) == 21
    assert "nobody of this number" in capsys.readouterr().err

"""The sample class: graded by the program as a careful person did by hand."""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from class_reader import read_class

from snapcheck.grade import Entry, LocalCrew, Store, load_course, regrade, run_batch
from snapcheck.simulate import is_available

CLASS = Path(__file__).parents[2] / "fixtures" / "class"
HAND = tomllib.loads((CLASS / "grades.toml").read_text(encoding="utf-8"))["submission"]
pytestmark = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")


@pytest.fixture(scope="module")
def graded(
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[tuple[Any, Store, dict[tuple[str, str], Entry]]]:
    folder = tmp_path_factory.mktemp("class") / "class"
    shutil.copytree(CLASS, folder)
    shutil.copytree(CLASS.parent / "designs", folder.parent / "designs")
    course = load_course(folder)
    with Store(course.store) as store:
        crew = LocalCrew(2)
        result = run_batch(course, store, crew, reader=read_class)
        yield course, store, dict(result.grades)
        crew.close()


def sha_of(entry: Entry) -> str:
    assert entry.sha
    return entry.sha


def key(hand: dict[str, Any]) -> tuple[str, str]:
    task, name = hand["picture"].split("/")
    return name.split("_")[0], task


@pytest.mark.parametrize("hand", [h for h in HAND if not h.get("replaced")], ids=lambda h: h["picture"])
def test_agrees_with_a_person(
    hand: dict[str, Any], graded: tuple[Any, Store, dict[tuple[str, str], Entry]]
) -> None:
    course, store, entries = graded
    entry = entries[key(hand)]
    assert entry.path == hand["picture"] + ".jpg"
    assert entry.grade.final is not hand.get("open", False), entry.grade
    if "decide" in hand:
        number = store.decide(
            "cell", by="tester", subject=sha_of(entry), choice=hand["decide"], reason=hand["why"],
            student=key(hand)[0], task=key(hand)[1],
        )  # fmt: skip
        crew = LocalCrew(1)
        entry = regrade(course, store, crew, reader=read_class)[key(hand)]
        store.take_back(number, by="tester", reason="end of the test")
        assert not regrade(course, store, crew, reader=read_class)[key(hand)].grade.final
        crew.close()
        assert entry.grade.final
    if "points" in hand:
        assert (entry.grade.verdict, Fraction(entry.grade.points)) == (
            hand["verdict"],
            Fraction(str(hand["points"])),
        ), entry.grade


def test_nothing_handed_in_gets_nothing(graded: tuple[Any, Store, dict[tuple[str, str], Entry]]) -> None:
    entry = graded[2]["T-112", "night-lamp"]
    assert (entry.grade.points, entry.grade.final, entry.sha) == ("0", True, "")


#: how good a verdict is for its student; what is not decided yet is in no place
RANK = ("do-not-power", "does-not-work", "works-differently", "equivalent", "ready")


def test_through_the_photos_no_grade_is_better_than_a_person_gives(tmp_path: Path) -> None:
    """The pictures of the class read by the networks: what is not sure waits, what is final is no gift."""
    shutil.copytree(CLASS, tmp_path / "class")
    shutil.copytree(CLASS.parent / "designs", tmp_path / "designs")
    course, crew = load_course(tmp_path / "class"), LocalCrew(2)
    with Store(course.store) as store:
        entries = run_batch(course, store, crew).grades
    crew.close()
    final = 0
    for hand in HAND:
        entry = entries[key(hand)]
        if hand.get("replaced") or not entry.grade.final:
            continue
        final += 1
        assert "verdict" in hand, entry  # a person could not tell either
        assert RANK.index(entry.grade.verdict) <= RANK.index(hand["verdict"]), entry
        assert Fraction(entry.grade.points) <= Fraction(str(hand["points"])), entry
    print(f"final without a person: {final} of {sum(not h.get('replaced') for h in HAND)}")

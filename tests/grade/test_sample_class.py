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
from here import HereCrew

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
        crew = HereCrew()
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


def test_the_photos_are_graded_as_a_person_does_or_wait(tmp_path: Path) -> None:
    """The pictures of the class read by the networks: what is final is what a person gives, to the point;
    only what a person has to look at waits; and what is decided then leads to the hand-written grade, too."""
    shutil.copytree(CLASS, tmp_path / "class")
    shutil.copytree(CLASS.parent / "designs", tmp_path / "designs")
    course, crew = load_course(tmp_path / "class"), LocalCrew(2)
    counted = [hand for hand in HAND if not hand.get("replaced")]
    with Store(course.store) as store:
        entries = dict(run_batch(course, store, crew).grades)
        waiting = [hand["picture"] for hand in counted if not entries[key(hand)].grade.final]
        assert waiting == [hand["picture"] for hand in counted if hand.get("open")]
        for hand in counted:
            if "decide" in hand:
                store.decide(
                    "cell", by="tester", subject=sha_of(entries[key(hand)]), choice=hand["decide"],
                    reason=hand["why"], student=key(hand)[0], task=key(hand)[1],
                )  # fmt: skip
        entries = dict(regrade(course, store, crew))
    crew.close()
    for hand in counted:
        entry = entries[key(hand)]
        assert entry.grade.final == ("points" in hand), (
            entry
        )  # the rest no person could tell from the picture
        if "points" in hand:
            told = entry.grade.verdict, Fraction(entry.grade.points)
            assert told == (hand["verdict"], Fraction(str(hand["points"]))), entry
    print(f"final without a person: {len(counted) - len(waiting)} of {len(counted)}")

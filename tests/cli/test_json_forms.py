"""What verbs print with ``--json``, against the published forms (JSON Schema, draft 2020-12)."""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Iterator
from contextlib import redirect_stdout
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from referencing import Registry, Resource

import snapcheck
from snapcheck.cli import VERBS as ALL_VERBS
from snapcheck.cli import main
from snapcheck.simulate import is_available

FIXTURES = Path(__file__).parents[2] / "fixtures"
OTHER = str(FIXTURES / "designs" / "night-lamp.board")
PLAN = str(FIXTURES / "designs" / "speech-stage.board")
PHOTO_PLAN = str(FIXTURES / "designs" / "first-light.board")
NEEDY = str(FIXTURES / "designs" / "hiss-filter.board")  # the box of the example is short of its parts
BOX = str(Path(snapcheck.__file__).parent / "box" / "data" / "example.toml")
FORMS = {
    file.name.removesuffix(".schema.json"): json.loads(file.read_text(encoding="utf-8"))
    for file in Path(snapcheck.__file__).parent.glob("*/data/*.schema.json")
}
REGISTRY: Any = Registry().with_resources(
    (form["$id"], Resource.from_contents(form)) for form in FORMS.values()
)


def complaints(told: Any, form: str) -> list[str]:
    validator = jsonschema.Draft202012Validator(FORMS[form], registry=REGISTRY)
    return [f"{list(e.absolute_path)}: {e.message[:200]}" for e in validator.iter_errors(told)]


def documents(text: str) -> Iterator[Any]:
    """Several documents may stand one after the other."""
    decoder = json.JSONDecoder()
    while text := text.strip():
        told, end = decoder.raw_decode(text)
        yield told
        text = text[end:]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Boards with mistakes, and two photos with their truth."""
    folder = tmp_path_factory.mktemp("forms")
    text = Path(PLAN).read_text(encoding="utf-8")
    for old, new in (("E2 resistor 2k2", "E2 resistor 22k"), ("C4 electrolytic 4u7", "C4 electrolytic 1u")):
        assert old in text
        text = text.replace(old, new)
    lines = [line for line in text.splitlines() if not line.startswith(("A3 ", "A1 "))]
    (folder / "built.board").write_text("\n".join([*lines, "tap D1|E1", ""]), encoding="utf-8")
    (folder / "photos").mkdir()
    for name in ("first-light-good", "flasher-crossing-leads"):
        for ending in (".jpg", ".json"):
            shutil.copy(FIXTURES / "photos" / (name + ending), folder / "photos")
    shorted = "plate 1 x 3\nA1 ground stem=down\nA2 battery 9V plus=up\nA3 ground stem=up\n"
    (folder / "danger.board").write_text(shorted, encoding="utf-8")
    (folder / "bad.jpg").write_bytes(b"no picture")
    (folder / "bad.board").write_text("plate 3\n", encoding="utf-8")
    return folder


VERBS = {
    "rules": (["rules", "built.board"], "rules"),
    "rules of a good board": (["rules", PLAN, "--structure-only"], "rules"),
    "list of rules": (["rules", "--list"], "rule-list"),
    "compare": (["compare", PLAN, "built.board"], "comparison"),
    "compare the same": (["compare", PLAN, PLAN, "--structure-only"], "comparison"),
    "nets": (["nets", "built.board"], "nets"),
    "lay": (["lay", str(FIXTURES / "designs" / "first-light.board")], "lay"),
    "layout": (["layout", PLAN], "layout"),
    "layout with oddities": (["layout", "built.board"], "layout"),
    "simulate": (["simulate", PLAN, "--tolerance", "10", "--sweep", "temperature"], "simulation"),
    "simulate beside": (["simulate", "built.board", "--design", PLAN], "simulation"),
    "read": (["read", "photos/first-light-good.jpg", "photos/flasher-crossing-leads.jpg"], "reading"),
    "accuracy": (["accuracy", "photos", "--plans", "2"], "accuracy"),
    "sheet": (["sheet", PLAN], "sheet"),
    "so far": (["so-far", "built.board", PLAN, "--structure-only"], "so-far"),
    "so far of another": (["so-far", OTHER, PLAN], "so-far"),
    "new": (["new", "design", "begun"], "new"),
    "completion": (["completion", "bash"], "completion"),
    "check": (["check", PLAN, PLAN, "--structure-only"], "report"),
    "box": (["box", BOX, PLAN, NEEDY, "--benches", "2"], "box"),
    "parts": (["parts", PLAN, "--box", BOX], "parts"),
    "parts without a box": (["parts", PLAN], "parts"),
    "count": (["count", "photos/first-light-good.jpg", "--of", PLAN], "count"),
    "adopt": (["adopt", "photos/first-light-good.jpg", "--answer", "remove D2"], "plan"),
    "paper": (["paper", PLAN, "-o", "kit.svg"], "files"),
    "primer": (["primer", "--only", "led", "--plate", "4x3", "-o", "primer"], "files"),
    "teach": (["teach", "bundled", "photos/first-light-good.jpg", "--layout", PHOTO_PLAN], "teaching"),
    "find": (["find", PLAN, "--reading", "E4 collector 8.9V", "--reading", "signal E4 base 0"], "search"),
    "find with a danger": (["find", "danger.board"], "search"),
    "find, the table": (["find", PLAN, "--table"], "test-points"),
    "find, practice": (["find", PLAN, "--practice", "1", "--ask", "E4 base", "--answer", "E4"], "practice"),
    "bench": (["bench", "--port", "0", "--keep", "kept", "--minutes", "0", "--workers", "1"], "bench"),
    "draw": (["draw", PLAN, "--out", "plan.svg"], "files"),
    "kit": (["kit"], "kit"),
    "one kind": (["kit", "npn"], "kit"),
    "describe": (
        [
            "describe",
            "own",
            "--kit",
            "own.toml",
            "--title",
            "own",
            "--model",
            "resistor",
            "--leg",
            "a:W",
            "--leg",
            "b:E",
        ],
        "kit",
    ),
    "value": (["value", "100uF/16V", "--on", "electrolytic"], "value"),
    "value of a word": (["value", "BC547", "--on", "npn"], "value"),
    "spice": (["spice", PLAN], "netlist"),
    "rubric": (["rubric"], "rubric"),
    "guide": (["guide", "plans"], "guide"),
    "a photo that is none": (["read", "bad.jpg"], "error"),
    "a layout that is none": (["rules", "bad.board"], "error"),
}

#: in this order: each finds what those before it left in the gradebook
COURSE_VERBS = {
    "grade": (["grade", "class"], "grades"),
    "grade what is stored": (["grade", "class", "--stored"], "grades"),
    "review": (["review", "class"], "review"),
    "decide": (
        ["decide", "class", "T-104", "night-lamp", "D3 npn BC337 base=left", "--reason", "seen"],
        "decision",
    ),
    "take back": (["decide", "class", "--take-back", "1", "--reason", "a slip"], "decision"),
    "history": (["review", "class", "--history"], "history"),
    "alike": (["alike", "class"], "alike"),
    "cards": (["cards", "class", "--out", "cards.svg"], "files"),
    "export": (["export", "class", "gradebook", "audit"], "files"),
    "forget": (["forget", "class", "T-104"], "erasure"),
    "forget for good": (["forget", "class", "T-104", "--yes"], "erasure"),
}  # fmt: skip


@pytest.fixture(scope="module")
def told_of_a_course(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What the verbs of a course print: the sample class, two students and a copied picture."""
    folder = tmp_path_factory.mktemp("course")
    shutil.copytree(FIXTURES / "class", folder / "class")
    for file in (folder / "class" / "submissions").rglob("*.jpg"):
        if not file.name.startswith(("T-104_", "T-101_")):
            file.unlink()
    shutil.copy(folder / "class" / "submissions" / "night-lamp" / "T-104_2031-03-12T1650.jpg",
                folder / "class" / "submissions" / "night-lamp" / "T-105_2031-03-12T1651.jpg")  # fmt: skip
    told = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        for case, (words, _) in COURSE_VERBS.items():
            out = io.StringIO()
            with redirect_stdout(out):
                main([*words, "--json"])
            told[case] = json.loads(out.getvalue())
    return told


@pytest.mark.parametrize("case", COURSE_VERBS)
def test_what_a_verb_of_a_course_prints_has_the_published_form(
    case: str, told_of_a_course: dict[str, Any]
) -> None:
    form = COURSE_VERBS[case][1]
    assert complaints(told_of_a_course[case], form) == []
    assert told_of_a_course[case]["form"] == f"snapcheck-{form}-1"


def test_the_sample_of_a_course_says_something_in_every_list(told_of_a_course: dict[str, Any]) -> None:
    told = told_of_a_course
    assert told["grade"]["read_now"] == 4 and told["grade what is stored"]["read_now"] is None
    assert any(w["choices"] for w in told["review"]["waiting"]) and told["decide"]["changed"]
    assert [d["takes_back"] for d in told["history"]["decisions"]] == [None, 1]
    assert told["alike"]["pairs"] and told["export"]["files"] and told["export"]["notes"]
    assert not told["forget"]["done"] and told["forget for good"]["done"] and told["forget for good"]["rows"]


@pytest.mark.parametrize("case", VERBS)
def test_what_a_verb_prints_has_the_published_form(
    case: str, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    words, form = VERBS[case]
    if words[0] in ("simulate", "sheet", "find") and not is_available():
        pytest.skip("the ngspice library is not installed")
    monkeypatch.chdir(folder)
    main([*words, "--json"])
    told = list(documents(capsys.readouterr().out))
    assert len(told) == (2 if case == "read" else 1)
    for one in told:
        assert complaints(one, form) == []
        assert one["form"] == f"snapcheck-{form}-1" and one["program"].startswith("snapcheck ")


def test_forms_are_valid_name_themselves_and_refuse_what_is_wrong(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert {form for _, form in [*VERBS.values(), *COURSE_VERBS.values()]} == set(
        FORMS
    )  # each is held against something above
    told = {words[0] for words, _ in [*VERBS.values(), *COURSE_VERBS.values()]}
    assert told == set(ALL_VERBS)  # and each verb prints one
    for name, form in FORMS.items():
        jsonschema.Draft202012Validator.check_schema(form)
        assert form["$id"] == f"urn:snapcheck:{name}:1" and form["properties"]["form"]["const"].endswith("-1")
    monkeypatch.chdir(folder)
    main(["compare", PLAN, "built.board", "--structure-only", "--json"])
    told = json.loads(capsys.readouterr().out)
    assert told["findings"] and complaints(told, "comparison") == []
    finding = told["findings"][0]
    for key, value in (
        ("verdict", "fine"), ("exit_code", 1), ("extra", 1), ("findings", [{**finding, "extra": 1}]),
        ("findings", [{**finding, "cells": ["1A"]}]), ("alignment", {}),
    ):  # fmt: skip
        assert complaints({**told, key: value}, "comparison"), key


def test_what_several_documents_tell_has_one_name_in_all() -> None:
    """A key that means one thing is never called otherwise in another verb's document."""
    for name, form in FORMS.items():
        keys = set(form["properties"])
        assert {"form", "program"} <= set(form["required"]), name
        assert not keys & {"electrical", "built", "findings_list", "net"}, name
        if "verdict" in keys:
            assert {"verdict_text", "exit_code", "findings"} <= keys, name
        for of in ("parts", "nets"):
            if of in keys and name != "report":
                part = form["properties"][of]["items"]["properties"]
                assert (
                    {"name", "cell"} <= set(part) if of == "parts" else {"number", "terminals"} <= set(part)
                )

"""What verbs print with ``--json``, against the published forms (JSON Schema, draft 2020-12)."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from referencing import Registry, Resource

import snapcheck
from snapcheck.cli import main
from snapcheck.simulate import is_available

FIXTURES = Path(__file__).parents[2] / "fixtures"
PLAN = str(FIXTURES / "designs" / "speech-stage.board")
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
    "layout": (["layout", PLAN], "layout"),
    "layout with oddities": (["layout", "built.board"], "layout"),
    "simulate": (["simulate", PLAN, "--tolerance", "10", "--sweep", "temperature"], "simulation"),
    "simulate beside": (["simulate", "built.board", "--design", PLAN], "simulation"),
    "read": (["read", "photos/first-light-good.jpg", "photos/flasher-crossing-leads.jpg"], "reading"),
    "accuracy": (["accuracy", "photos", "--plans", "2"], "accuracy"),
    "check": (["check", PLAN, PLAN, "--structure-only"], "report"),
    "bench": (["bench", "--port", "0", "--keep", "kept", "--minutes", "0", "--workers", "1"], "bench"),
    "a photo that is none": (["read", "bad.jpg"], "error"),
    "a layout that is none": (["rules", "bad.board"], "error"),
}


@pytest.mark.parametrize("case", VERBS)
def test_what_a_verb_prints_has_the_published_form(
    case: str, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    words, form = VERBS[case]
    if words[0] == "simulate" and not is_available():
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
    assert {form for _, form in VERBS.values()} == set(FORMS)  # each is held against something above
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

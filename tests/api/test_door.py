"""What `import snapcheck` offers, and that starting it costs nothing."""

from __future__ import annotations

import ast
import inspect
import subprocess
import sys
import typing
from pathlib import Path

import pytest

import snapcheck
from snapcheck import api

ROOT = Path(__file__).parents[2]
VERBS = (
    "read",
    "check",
    "compare",
    "rules",
    "simulate",
    "find",
    "expected_readings",
    "practice",
    "draw",
    "layout",
    "grade",
    "grade_class",
)


def run(code: str) -> str:
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_import_brings_nothing_heavy() -> None:
    heavy = ("numpy", "scipy", "cv2", "PySpice", "matplotlib", "networkx", "PIL", "rich", "snapcheck.api")
    code = f"import snapcheck, sys, os; print([m for m in {heavy!r} if m in sys.modules], os.environ"
    assert run(code + "['ORT_DISABLE_TELEMETRY'])") == "[] 1\n"


def test_boards_without_a_picture_need_no_library_for_pictures() -> None:
    plan = str(ROOT / "fixtures" / "designs" / "first-light.board")
    code = (
        f"import snapcheck, sys\np = {plan!r}\nsnapcheck.rules(p, calculate=False)\nsnapcheck.draw(p)\n"
        "snapcheck.compare(p, p, calculate=False)\n"
        "print([m for m in ('cv2', 'onnxruntime', 'PIL', 'snapcheck.photo') if m in sys.modules])"
    )
    assert run(code) == "[]\n"


def test_every_name_is_there_and_means_one_thing() -> None:
    tree = ast.parse(Path(snapcheck.__file__).read_text(encoding="utf-8"))
    typed = {  # what mypy and editors see
        alias.asname
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and str(node.module).startswith("snapcheck.")
        for alias in node.names
    }
    assert typed == set(snapcheck.__all__) - {"__version__"} <= set(dir(snapcheck))
    for name in snapcheck.__all__:
        assert getattr(snapcheck, name) is not None
    assert all(getattr(snapcheck, name) is getattr(api, name) for name in VERBS)
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        _ = snapcheck.nonsense


@pytest.mark.parametrize("first", ["snapcheck.check", "snapcheck.simulate", "snapcheck.grade", "snapcheck"])
def test_a_room_of_the_same_name_does_not_take_the_place_of_a_verb(first: str) -> None:
    code = (
        f"import {first}\nfrom snapcheck.check import Verdict\nfrom snapcheck.grade import Store\n"
        "from snapcheck.simulate import Simulator\nimport snapcheck\n"
        "from snapcheck import check, grade\n"
        "print(*(f.__module__ for f in (snapcheck.check, snapcheck.simulate, snapcheck.grade, check, grade)))"
    )
    assert [m.rpartition(".")[0] for m in run(code).split()] == ["snapcheck.api"] * 5


@pytest.mark.parametrize("name", VERBS)
def test_each_verb_is_typed_and_says_what_it_takes_gives_and_raises(name: str) -> None:
    verb = getattr(snapcheck, name)
    signature = inspect.signature(verb)
    assert all(p.annotation is not inspect.Parameter.empty for p in signature.parameters.values())
    assert signature.return_annotation is not inspect.Signature.empty
    words = inspect.getdoc(verb) or ""
    assert "Raises" in words
    if name != "layout":
        section = words.split("Args:")[1].split("Raises:")[0]
        assert all(p in section for p in signature.parameters), name
    assert typing.get_overloads(verb) == []


def test_types_are_shipped() -> None:
    folder = Path(snapcheck.__file__).parent
    assert (folder / "py.typed").is_file() and (folder / "TUTORIAL.md").is_file()

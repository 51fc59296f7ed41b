"""Languages: the German catalogue is complete and true to its places; anything else falls back to English."""

from __future__ import annotations

import argparse
import ast
import errno
import gettext
import json
import re
import string
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.frontend import _parse_config_object as mappings_of
from babel.messages.pofile import read_po

from snapcheck.board import load_design
from snapcheck.cli import main
from snapcheck.cli._argparse import ARGPARSE_WORDS
from snapcheck.kit import bundled_kit
from snapcheck.words import languages, numeral, surrounding_language, system_says, tr, use_language

ROOT = Path(__file__).parents[2]
LOCALE = ROOT / "snapcheck" / "locale"
HOW = (
    "Say it in German, too: DEVELOPERS.md, 'Change a sentence', has the two commands that bring the new "
    "sentences into snapcheck/locale/de/LC_MESSAGES/snapcheck.po."
)


def sentences() -> set[str]:
    """Every sentence that the program can say."""
    import tomllib

    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["babel"]
    methods, options = mappings_of(settings)
    found = set()
    # the mappings begin with snapcheck/, so begin where that lies, but stay out of everything else
    for _, _, message, _, _ in extract_from_dir(
        str(ROOT), methods, options, {"tr": None},
        directory_filter=lambda folder: "/." not in folder.removeprefix(str(ROOT)) and (
            Path(folder) == ROOT or Path(folder).is_relative_to(ROOT / "snapcheck")),
    ):  # fmt: skip
        if message:
            found.add(message)
    return found


def catalogue(language: str) -> Catalog:
    with (LOCALE / language / "LC_MESSAGES" / "snapcheck.po").open("rb") as file:
        return read_po(file)


def places(text: str) -> list[tuple[str, str]]:
    return sorted(
        (name, form or "") for _, name, form, _ in string.Formatter().parse(text) if name is not None
    )


def margins(text: str) -> tuple[str, str]:
    """Blanks before and after, which a sentence must keep."""
    return text[: len(text) - len(text.lstrip())], text[len(text.rstrip()) :]


@pytest.mark.parametrize("language", [name for name in languages() if name != "en"])
def test_a_catalogue_is_complete_and_true_to_its_places(language: str) -> None:
    read = {m.id: m for m in catalogue(language) if m.id}
    wanted = sentences()
    assert len(wanted) > 700
    untranslated = sorted(s for s in wanted if s not in read or not read[s].string)
    assert not untranslated, f"{HOW}\n" + "\n".join(untranslated)
    assert not [m.id for m in read.values() if m.fuzzy]
    assert not [(m.id, m.string) for m in read.values() if places(m.id) != places(m.string)]
    edges = [m.id for m in read.values() if margins(m.id) != margins(m.string)]
    assert not edges


def test_german_is_spoken_in_findings_help_and_numbers(capsys: pytest.CaptureFixture[str]) -> None:
    design = str(ROOT / "fixtures" / "designs" / "first-light.board")
    assert main(["compare", design, design, "--lang", "de", "--structure-only"]) == 0
    assert "Urteil: Bereit zum Einschalten." in capsys.readouterr().out
    with pytest.raises(SystemExit):
        main(["check", "--lang=de", "--help"])
    assert "Bild des Aufbaus" in capsys.readouterr().out
    assert numeral("4.5") == "4,5"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["check"], "erforderlich"),
        (["nonsense"], "ungültige Auswahl"),
        (["check", "a", "b", "--step", "many"], "ungültiger Wert"),
        (["check", "a", "b", "--no-such"], "unbekannte Angaben"),
        (["check", "a", "b", "--step"], "ein Wert erwartet"),
    ],
)
def test_mistakes_on_the_command_line_are_told_in_german(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["--lang", "de", *words])
    assert stopped.value.code == 2
    told = capsys.readouterr().err
    assert told.startswith("Aufruf: ") and "Fehler: " in told and said in told
    assert not [word for word in ("usage", "error", "argument", "required", "invalid") if word in told]
    assert argparse._ is gettext.gettext and argparse.ngettext is gettext.ngettext  # type: ignore[attr-defined]


def test_what_the_system_refuses_is_told_in_german(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["layout", "none.board", "--lang", "de"]) == 21
    assert "lässt sich nicht öffnen: Datei oder Ordner gibt es nicht." in capsys.readouterr().err
    assert main(["value", "4n7", "--lang", "de"]) == 21
    assert "passt nicht zu Ohm." in capsys.readouterr().err
    use_language("en")
    assert system_says(OSError(errno.ENOENT, "by the system")) == "No such file or directory"
    assert system_says(OSError(errno.ELOOP, "by the system")) == "by the system"


def test_argparse_says_nothing_that_we_cannot_translate() -> None:
    """Of its literals only those remain that a programmer's mistake brings up."""
    ours = {
        "'required' is an invalid argument for positionals", ".__call__() not defined",
        "%r is not callable", "argument \"-\" with mode %r", "can't open '%(filename)s': %(error)s",
        "cannot have multiple subparser arguments", "cannot merge actions - two groups are named %r",
        "conflicting option string: %s", "conflicting option strings: %s", "conflicting subparser alias: %s",
        "conflicting subparser: %s", "dest= is required for options like %r",
        "invalid conflict_resolution value: %r", "mutually exclusive arguments must be optional",
        "invalid option string %(option)r: must start with a character %(prefix_chars)r",
        "unexpected option string: %s",
    }  # fmt: skip
    tree = ast.parse(Path(argparse.__file__).read_text(encoding="utf-8"))
    said = {
        word.value
        for call in ast.walk(tree)
        if isinstance(call, ast.Call)
        and isinstance(call.func, ast.Name)
        and call.func.id in ("_", "ngettext")
        for word in call.args
        if isinstance(word, ast.Constant)
    }
    assert "usage: " in said and said - ours <= {*ARGPARSE_WORDS}
    german = {m.id: m.string for m in catalogue("de") if m.id}
    for word in ARGPARSE_WORDS:
        assert re.findall(r"%(?:\(\w+\))?[sr]", word) == re.findall(r"%(?:\(\w+\))?[sr]", german[word])


def test_the_surroundings_choose_the_language(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    design = str(ROOT / "fixtures" / "designs" / "first-light.board")
    for name, value, word in (
        ("LC_ALL", "de_AT.UTF-8", "Urteil"), ("LC_ALL", "xx_YY.UTF-8", "Verdict"), ("LC_ALL", "C", "Verdict"),
        ("LANGUAGE", "xx:de", "Urteil"),
    ):  # fmt: skip
        monkeypatch.setenv(name, value)
        assert main(["compare", design, design, "--structure-only"]) == 0
        assert word in capsys.readouterr().out
    assert main(["compare", design, design, "--structure-only", "--lang", "en"]) == 0
    assert "Verdict" in capsys.readouterr().out
    assert surrounding_language({}) == "en"
    assert surrounding_language({"LANG": "en_GB.UTF-8", "LC_ALL": "de_DE"}) == "de"


def test_an_unknown_language_names_those_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["kit", "--lang", "tlh"]) == 21
    said = capsys.readouterr().err
    assert "'tlh'" in said and "de, en" in said


def test_a_school_can_bring_its_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "nds" / "LC_MESSAGES"
    folder.mkdir(parents=True)
    text = 'msgid "Ready to power."\nmsgstr "Kann anmaakt warrn."\n\n'
    text += 'msgid "Verdict: {verdict}"\nmsgstr "{wat}"\n'
    (folder / "snapcheck.po").write_text(text, encoding="utf-8")
    design = str(ROOT / "fixtures" / "designs" / "first-light.board")
    words = ["compare", design, design, "--structure-only", "--lang", "nds", "--locale", str(tmp_path)]
    assert main(words) == 0
    assert "Verdict: Kann anmaakt warrn." in capsys.readouterr().out  # the slip costs only its own sentence


def test_layout_files_and_json_keys_stay_as_they_are(capsys: pytest.CaptureFixture[str]) -> None:
    """What machines read does not change with the language."""
    path = ROOT / "fixtures" / "designs" / "night-lamp.board"
    kit = bundled_kit()
    told = {}
    for language in ("en", "de"):
        assert main(["compare", str(path), str(path), "--structure-only", "--json", "--lang", language]) == 0
        told[language] = json.loads(capsys.readouterr().out)
    sentences = [told[language].pop("verdict_text") for language in ("en", "de")]
    assert sentences == ["Ready to power.", "Bereit zum Einschalten."]
    assert told["en"] == told["de"]
    use_language("de")
    assert tr("resistor") == "Widerstand"
    assert load_design(path, kit).board == load_design(path, kit).board


@pytest.mark.parametrize(
    "text", [b'msgid "a', b"\xff\xfe", b'"Content-Type: text/plain; charset=none\\n"\nmsgid ""']
)
def test_a_damaged_catalogue_is_named(
    text: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "xx" / "LC_MESSAGES" / "snapcheck.po"
    file.parent.mkdir(parents=True)
    file.write_bytes(text)
    assert main(["kit", "--lang", "xx", "--locale", str(tmp_path)]) == 21
    told = capsys.readouterr()
    assert not told.out and told.err.count("\n") == 1 and str(file) in told.err

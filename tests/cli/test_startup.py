"""Start-up: quick, and nothing heavy is imported before it is needed."""

import subprocess
import sys
from pathlib import Path

import pytest

from snapcheck.cli import VERBS, main

HEAVY = ("numpy", "scipy", "cv2", "PySpice", "matplotlib", "networkx", "PIL", "resvg_py", "rich")


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "snapcheck", *words], capture_output=True, text=True,
                          check=False, timeout=60)  # fmt: skip


def test_help_of_no_verb_imports_anything_heavy() -> None:
    """All in one process: the first that imports something is the one that is named."""
    code = (
        "import sys\nfrom snapcheck.cli import VERBS, main\n"
        "for verb in VERBS:\n"
        "    try:\n        main([verb, '--help'])\n"
        f"    except SystemExit as end:\n        heavy = [m for m in {HEAVY!r} if m in sys.modules]\n"
        "        if end.code or heavy:\n            sys.exit(f'{verb}: {end.code} {heavy}')\n"
        "    else:\n        sys.exit(f'{verb}: no help')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "") and done.stdout.count("usage:") == len(VERBS)


def test_version_and_wrong_command_lines() -> None:
    assert run("--version").stdout.startswith("snapcheck ")
    for words in (("nonsense",), ("kit", "--nonsense"), ("export", "course", "gradebok")):
        done = run(*words)
        assert done.returncode == 2 and "usage:" in done.stderr and "Traceback" not in done.stderr


def test_alone_it_shows_its_help() -> None:
    done = run()
    assert done.returncode == 2 and "exit codes" in done.stdout and not done.stderr


@pytest.mark.parametrize(
    ("words", "meant"),
    [(("chek",), "check"), (("simulat", "x"), "simulate"), (("export", "c", "fedback"), "feedback")],
)
def test_a_mistyped_word_is_answered_with_the_nearest(words: tuple[str, ...], meant: str) -> None:
    done = run(*words)
    assert done.returncode == 2 and f"Did you mean '{meant}'?" in done.stderr


@pytest.mark.parametrize(
    "verb", [v for v in VERBS if v not in ("kit", "value", "guide", "new", "completion", "describe")]
)
def test_a_missing_file_is_named_without_a_traceback(
    verb: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    missing = str(tmp_path / "not-there.board")
    more = {
        "compare": [missing], "check": [missing], "so-far": [missing], "decide": ["--reason", "seen"],
        "export": ["audit"], "forget": ["T-101"],
    }  # fmt: skip
    code = main([verb, missing, *more.get(verb, [])])
    out, err = capsys.readouterr()
    assert code in range(20, 26), err
    assert "not-there.board" in out + err and "Traceback" not in err

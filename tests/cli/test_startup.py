"""Start-up: quick, and nothing heavy is imported before it is needed."""

import subprocess
import sys
import time

import pytest

from snapcheck.cli import VERBS

HEAVY = ("numpy", "scipy", "cv2", "PySpice", "matplotlib", "networkx", "PIL", "resvg_py", "rich")


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "snapcheck", *words], capture_output=True, text=True,
                          check=False, timeout=60)  # fmt: skip


def test_help_takes_at_most_a_third_of_a_second() -> None:
    times = []
    for n in range(20):
        if n >= 5 and min(times) <= 0.3:
            break  # more than five only where it looks too slow
        start = time.perf_counter()
        done = run("--help")
        times.append(time.perf_counter() - start)
        assert done.returncode == 0 and "exit codes" in done.stdout
    assert min(times) <= 0.3, times


@pytest.mark.parametrize("verb", VERBS)
def test_help_of_a_verb_imports_nothing_heavy(verb: str) -> None:
    code = (
        "import sys\nfrom snapcheck.cli import main\n"
        f"try:\n    main([{verb!r}, '--help'])\n"
        f"except SystemExit as end:\n    print(end.code, [m for m in {HEAVY!r} if m in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.stdout.rstrip().endswith("0 []"), done.stdout[-300:] + done.stderr[-300:]


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
def test_a_missing_file_is_named_without_a_traceback(verb: str, tmp_path) -> None:
    missing = str(tmp_path / "not-there.board")
    more = {
        "compare": [missing], "check": [missing], "so-far": [missing], "decide": ["--reason", "seen"],
        "export": ["audit"], "forget": ["T-101"],
    }  # fmt: skip
    done = run(verb, missing, *more.get(verb, []))
    assert done.returncode in range(20, 26), done.stderr
    assert "not-there.board" in done.stdout + done.stderr and "Traceback" not in done.stderr

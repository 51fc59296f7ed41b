"""``snapcheck accuracy FOLDER``: how well photos are read, measured on labelled pictures of one's own."""

from __future__ import annotations

import argparse
import math
import random
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from snapcheck.board import board_from_json, read_text
from snapcheck.cli._common import add_kit, kit_of, print_json, write_file
from snapcheck.cli._output import document, say
from snapcheck.datafiles import json_value
from snapcheck.errors import InputError, PhotoError
from snapcheck.plots import Plot
from snapcheck.words import shown, tr

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Canvas

    from snapcheck.plots import Pen
    from snapcheck.trials import Trials


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "folder", metavar="FOLDER", help="pictures NAME.jpg with their truth NAME.json beside them"
    )
    parser.add_argument(
        "--confusion", metavar="PICTURE", help="write which kinds are taken for which (PNG or SVG)"
    )
    parser.add_argument(
        "--reliability",
        metavar="PICTURE",
        help="write how far confidences can be trusted: reliability, risk over coverage (PNG or SVG)",
    )
    parser.add_argument(
        "--plans",
        metavar="N",
        type=int,
        default=0,
        help="hold each picture against its own board as plan, and against N plans changed in one place",
    )
    parser.add_argument("--mistakes", action="store_true", help="list every mistake")
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    from snapcheck.photo import read_photo
    from snapcheck.photo import score as scoring
    from snapcheck.trials import Trials, hold

    kit = kit_of(args)
    pairs = _labelled(Path(args.folder))
    total, trials = scoring.Score(), Trials()
    by_difficulty: dict[str, Any] = {}
    seconds = []
    for number, (photo, truth_file) in enumerate(pairs):
        data = json_value(read_text(truth_file), str(truth_file))
        truth = board_from_json(data, kit)
        part = by_difficulty.setdefault(str(data.get("difficulty", "ordinary")), scoring.Score())
        start = time.perf_counter()
        try:
            reading = read_photo(photo, kit)
        except PhotoError as error:
            for s in (total, part):
                scoring.add_failure(s, truth, photo.name, error.message)
            continue
        seconds.append(time.perf_counter() - start)
        for s in (total, part):
            scoring.add(s, truth, reading, kit)
        if args.plans:
            hold(trials, reading, truth, kit, random.Random(photo.name), args.plans)
        if sys.stderr.isatty():
            print(f"\r{number + 1}/{len(pairs)}", end="", file=sys.stderr)
    if args.confusion:
        write_file(args.confusion, _confusion(total, args.confusion))
    if args.reliability:
        write_file(args.reliability, _reliability(total, args.reliability))
    read = [s for s in total.sure if s.read]
    rest = sorted(seconds[1:] or seconds)
    middle = rest[len(rest) // 2] if rest else None
    memory = _peak_MB()
    result: dict[str, Any] = {
        "pictures": len(pairs),
        "figures": scoring.figures(total),
        "by_difficulty": {k: scoring.figures(s) for k, s in by_difficulty.items()},
        "counts": dict(total.count),
        "kinds": {k: dict(c) for k, c in sorted(total.kinds.items())},
        "turns": {str(k): dict(c) for k, c in sorted(total.turns.items())},
        "confusion": [[a, b, n] for (a, b), n in total.confusion.most_common()],
        "reliability": scoring.reliability(total),
        "risk_coverage": scoring.risk_coverage(total),
        "silent_at_most": scoring.at_most(sum(not s.right for s in read), len(read)),
        "median_seconds": middle,
        "peak_memory_MB": memory if math.isfinite(memory) else None,
        "mistakes": total.mistakes,
    }
    if args.plans:
        result["plans"] = {
            "good": dict(trials.good),  # not by `asdict`, which makes a counter of a counter's pairs
            "changed": dict(trials.changed),
            "wrong": dict(trials.wrong),
            "passed": trials.passed,
            "cells": dict(trials.cells),
            "taken": dict(trials.taken),
            "as_planned": trials.as_planned,
        }
    if args.json:
        print_json(document("accuracy", {"folder": args.folder, **result}))
        return 0
    _say(total, args, middle, memory)
    if args.plans:
        _say_trials(trials)
    return 0


def _labelled(folder: Path) -> list[tuple[Path, Path]]:
    """Pictures with their truth files."""
    if not folder.is_dir():
        raise InputError(tr("there is no such folder."), place=folder)
    pairs = sorted(
        (p, p.with_suffix(".json"))
        for p in folder.glob("*")
        if p.suffix.lower() in (".jpg", ".jpeg", ".png", ".webp", ".heic")
    )
    pairs = [(photo, truth) for photo, truth in pairs if truth.exists()]
    if not pairs:
        raise InputError(
            tr("no labelled pictures here."),
            place=folder,
            way_out=tr("Put NAME.jpg and NAME.json side by side."),
        )
    return pairs


def _say_trials(trials: Trials) -> None:
    """How many good builds pass, and whether a faulty one does."""
    from snapcheck.photo import score as scoring

    good, n, wrong = trials.good, trials.changed.total(), trials.wrong.total()
    say(
        tr(
            "{n} pictures against their own board: {p} pass, {a} are asked about, {b} blamed",
            n=good["builds"],
            p=good["passed"],
            a=good["asked"],
            b=good["blamed"],
        )
    )
    bound = 100 * scoring.at_most(wrong, n) if n else 100.0
    say(
        tr(
            "{w} of {n} plans changed in one place are passed: at most {p:.2g} % with 95 % confidence"
            " (were they independent)",
            w=wrong,
            n=n,
            p=bound,
        )
    )
    for line in trials.passed:
        say(f"  {line}")
    say(
        tr(
            "{w} of {n} other cubes that a plan may have in a single cell would be taken as planned"
            " (dangers aside)",
            w=trials.taken.total(),
            n=trials.cells.total(),
        )
    )
    for line in trials.as_planned:
        say(f"  {line}")


def _peak_MB() -> float:
    """The most memory that this process has had, MB; nan where the system does not say."""
    try:
        import resource
    except ImportError:  # Windows
        return float("nan")
    unit = 1024 * 1024 if sys.platform == "darwin" else 1024  # bytes there, kB elsewhere
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit


def _say(total: Any, args: argparse.Namespace, middle: float | None, memory: float) -> None:
    """The figures in words."""
    from snapcheck.photo import score as scoring

    for name, value in scoring.figures(total).items():
        say(f"{name.replace('_', ' '):16} {100 * value:8.3f} %")
    say(
        tr(
            "{n} pictures, {c} cubes; {t:.2f} s a picture (median), {m:.0f} MB at most",
            n=total.count["pictures"],
            c=total.count["cubes"],
            t=middle or 0.0,
            m=memory or 0.0,
        )
    )
    read = [s for s in total.sure if s.read]
    wrong = sum(not s.right for s in read)
    if read:
        say(
            tr(
                "{w} of {n} cubes called read are wrong: at most {p:.2g} % with 95 % confidence"
                " (were cubes independent)",
                w=wrong,
                n=len(read),
                p=100 * scoring.at_most(wrong, len(read)),
            )
        )
    if args.reliability:
        for row in scoring.reliability(total):
            say(
                tr(
                    "confidence {a:.3f} to {b:.3f}: {n:5} cubes, said {c:.2f} %, right {r:.2f} %",
                    a=row["from"],
                    b=row["to"],
                    n=row["cubes"],
                    c=100 * row["confidence"],
                    r=100 * row["right"],
                )
            )
    for line in total.mistakes if args.mistakes else ():
        say(shown(line))


def _reliability(score: Any, path: str) -> bytes:
    """Share right over confidence, and share wrong over coverage, side by side."""
    from snapcheck.photo import score as scoring

    table, curve = scoring.reliability(score), scoring.risk_coverage(score)

    def draw(canvas: Canvas, pen: Pen) -> None:
        left, right = canvas.subplots(1, 2)
        pen.axes(left, tr("confidence"), tr("share right"))
        left.plot([0, 1], [0, 1], color=pen.quiet, linestyle="--", linewidth=1)
        left.plot([r["confidence"] for r in table], [r["right"] for r in table], "o-", color=pen.output)
        for r in table:
            if r["from"] < 0.95:  # above, their numbers would lie over one another
                pen.note(left, str(int(r["cubes"])), (r["confidence"], r["right"]), (4, -10))
        share = tr("coverage: share of cubes taken, surest first (%)")
        pen.axes(right, share, tr("share wrong of those taken (%)"))
        percent = [(100 * c, 100 * r) for c, r in curve]
        right.step([c for c, _ in percent], [r for _, r in percent], where="post", color=pen.output)

    return Plot("reliability", "", 4.2, draw).render(_form(path), headed=False)


def _confusion(score: Any, path: str) -> bytes:
    """Kinds that were taken for others, as a picture."""
    import numpy as np

    names = sorted({a for a, _ in score.confusion} | {b for _, b in score.confusion} | {"straight"})
    table = np.zeros((len(names), len(names)))
    for (a, b), n in score.confusion.items():
        table[names.index(a), names.index(b)] = n

    def draw(canvas: Canvas, pen: Pen) -> None:
        axes = canvas.subplots()
        pen.axes(axes, tr("read as"), tr("is"))
        axes.grid(False)
        axes.imshow(table, cmap="Blues", aspect="auto")
        axes.set_xticks(range(len(names)), names, rotation=90)
        axes.set_yticks(range(len(names)), names)
        for (i, j), n in np.ndenumerate(table):
            if n:
                light = "white" if n > table.max() / 2 else "black"
                axes.text(j, i, str(int(n)), ha="center", va="center", color=light)

    return Plot("confusion", "", 2.5 + 0.3 * len(names), draw).render(_form(path), headed=False)


def _form(path: str) -> str:
    """The form that a file's name asks for, PNG where it asks for none that we write."""
    return "svg" if Path(path).suffix.lower() == ".svg" else "png"

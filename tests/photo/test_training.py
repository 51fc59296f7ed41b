"""Training from nothing to files that read photos: the commands of models/README.md, a few steps each.

torch and onnx are no dependencies of snapcheck, and take longer to install than all other tests to run: where
they are not installed this is skipped. `pip install "snapcheck[train]"` brings them.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from snapcheck.errors import SnapcheckError
from snapcheck.kit import bundled_kit
from snapcheck.photo import _nets, read_photo
from snapcheck.places import models_dir

pytest.importorskip("torch", reason="torch is no dependency: nothing can be trained here")
pytest.importorskip("onnx", reason="onnx is no dependency: networks cannot be exported here")
pytestmark = pytest.mark.skipif(not shutil.which("g++"), reason="g++ makes the program that draws scenes")

ROOT = Path(__file__).parents[2]
TRAIN = ROOT / "models" / "train"
NETS = ("symbols", "text", "locate", "wires", "walk", "points")


def answers() -> dict[str, np.ndarray]:
    """What each of the seven says of noise."""
    rng = np.random.default_rng(1)

    def noise(*shape: int) -> np.ndarray:
        return rng.integers(0, 255, shape, dtype=np.uint8)

    views, marks = noise(2, 56, 56, 3), np.zeros((2, 2, 56, 56), np.float32)
    features, blobs = (rng.random(shape).astype(np.float32) for shape in ((1, 32, 24, 32), (3, 24, 32)))
    shapes = {
        "symbols": (2, 72, 72, 3),
        "text": (2, 32, 160, 3),
        "points": (2, 32, 160, 3),
        "locate": (1, 192, 256, 3),
    }
    said = {name: _nets.run(name, noise(*shape)) for name, shape in shapes.items()}
    said["wires"] = _nets.run("wires", noise(1, 112, 140, 3))
    return said | {"walk": _nets.run_walk(views, marks), "follow": _nets.run_follow(features, blobs)}


@pytest.fixture
def trained(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """All networks trained for two steps by the one command there is, and exported."""
    import matplotlib

    fonts, made = tmp_path / "fonts", tmp_path / "networks"
    fonts.mkdir()
    for file in (Path(matplotlib.get_data_path()) / "fonts" / "ttf").glob("DejaVuSans*.ttf"):
        shutil.copy(file, fonts)
    around = os.environ | {
        "PYTHON": sys.executable, "PRESSES": "2", "NETWORKS": " ".join(NETS), "PYTHONPATH": str(ROOT),
        "TMPDIR": str(tmp_path),
    }  # fmt: skip
    rehearsal = ["--steps", "2", "--scale", "0.01"]
    orders = (
        ["bash", str(TRAIN / "all.sh"), str(fonts), str(tmp_path / "out"), "15", *rehearsal],
        [sys.executable, str(TRAIN / "export.py"), str(tmp_path / "out"), str(made)],
    )
    for order in orders:
        done = subprocess.run(order, env=around, capture_output=True, text=True, timeout=900, check=False)
        assert done.returncode == 0, done.stdout + done.stderr
    shutil.copy(models_dir() / "calibration.json", made)
    yield made
    for kept in (_nets._session, _nets.names, _nets.calibration):
        kept.cache_clear()


def test_networks_trained_from_nothing_can_read(trained: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shipped, names = answers(), _nets.names()
    for kept in (_nets._session, _nets.names, _nets.calibration):
        kept.cache_clear()
    monkeypatch.setattr(_nets, "models_dir", lambda: trained)
    fresh = answers()
    assert {name: a.shape for name, a in fresh.items()} == {name: a.shape for name, a in shipped.items()}
    assert all(np.isfinite(a).all() for a in fresh.values())
    assert not any(np.allclose(fresh[name], shipped[name], atol=0.1) for name in shipped)
    assert _nets.names() == names
    with contextlib.suppress(SnapcheckError):  # what they see is nothing much; they are asked, and answer
        read_photo(ROOT / "fixtures" / "photos" / "level-meter-bench-4.jpg", bundled_kit())


def test_no_part_of_a_plan_sees_the_scenes_of_another(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(TRAIN))
    from fit import seed_of

    assert seed_of(41, 0.0) == 41
    seeds = [seed_of(seed, begins) for seed in (41, 42) for begins in (0.0, 0.25, 0.5, 0.75)]
    assert len(set(seeds)) == len(seeds) and seeds == [
        seed_of(seed, begins) for seed in (41, 42) for begins in (0.0, 0.25, 0.5, 0.75)
    ]

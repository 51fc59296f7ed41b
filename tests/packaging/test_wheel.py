"""What an installation holds: data files beside the code, typed marker, network files."""

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from snapcheck.places import models_dir

ROOT = Path(__file__).parents[2]


def test_models_folder_of_a_checkout() -> None:
    assert models_dir().is_dir()


def test_models_folder_missing_is_said(monkeypatch, tmp_path) -> None:
    from snapcheck import places
    from snapcheck.errors import DataError

    monkeypatch.setattr(places, "_PACKAGE", tmp_path / "snapcheck")
    with pytest.raises(DataError, match="pip install"):
        models_dir()
    (tmp_path / "snapcheck" / "_models").mkdir(parents=True)
    assert models_dir() == tmp_path / "snapcheck" / "_models"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> list[str]:
    """Names inside a wheel built from this checkout."""
    pytest.importorskip("hatchling", reason="hatchling builds the wheel")
    out = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(out)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=300)
    assert done.returncode == 0, done.stderr
    (file,) = out.glob("*.whl")
    return zipfile.ZipFile(file).namelist()


def test_wheel_holds_every_file_of_the_package(wheel) -> None:
    held = set(wheel)
    for file in (ROOT / "snapcheck").rglob("*"):
        name = file.relative_to(ROOT).as_posix()
        endings = ".py .toml .po .j2 .json .typed .html .css .js .svg .md"
        if file.suffix in endings.split():
            assert name in held, name
    assert any(name.endswith("licenses/LICENSE") for name in held)


def test_wheel_holds_the_sample_designs(wheel) -> None:
    for file in (ROOT / "fixtures" / "designs").glob("*.board"):
        assert f"snapcheck/_designs/{file.name}" in wheel
    assert not [name for name in wheel if name.endswith(".variants.toml")]


def test_wheel_holds_the_networks_and_no_training_code(wheel) -> None:
    for file in [*(ROOT / "models").glob("*.onnx"), *(ROOT / "models").glob("*.json")]:
        assert f"snapcheck/_models/{file.name}" in wheel
    assert not [
        name for name in wheel if "/train/" in name or name.startswith(("models/", "tests/", "fixtures/"))
    ]

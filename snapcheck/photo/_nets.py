"""The seven networks, loaded once and run on the CPU. What they are, how they were measured: models/*.md."""

from __future__ import annotations

import hashlib
import json
import os
import platform
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from snapcheck.places import models_dir


@lru_cache(maxsize=1)
def names() -> tuple[tuple[str, ...], str]:
    """Kinds in the order of the symbol network's outputs (last ``other``, ``empty``); the text network's
    letters."""
    data = json.loads((models_dir() / "networks.json").read_text(encoding="utf-8"))
    return tuple(data["kinds"]), data["characters"]


@lru_cache(maxsize=1)
def calibration() -> dict[str, Any]:
    """Temperatures and thresholds, see models/README.md."""
    data: dict[str, Any] = json.loads((models_dir() / "calibration.json").read_text(encoding="utf-8"))
    return data


@lru_cache(maxsize=1)
def whole_products() -> bool:
    """Whether this processor sums products of bytes without cutting them off (VNNI; every 64-bit ARM).

    Others may saturate (onnxruntime's documentation, "Quantize ONNX models"): there the same 8-bit weights
    are reckoned with as floats, which is slower and gives the same answers.
    """
    if platform.machine().lower() in ("arm64", "aarch64"):
        return True
    try:
        return "vnni" in Path("/proc/cpuinfo").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return False


def _threads() -> int:
    return int(os.environ.get("SNAPCHECK_THREADS", "2"))


@lru_cache(maxsize=8)
def _session(name: str, threads: int, also: tuple[str, ...] = ()) -> Any:
    """A network to run; `also`: tensors within it that it gives besides its outputs."""
    import onnxruntime

    onnxruntime.set_default_logger_severity(3)
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = threads
    options.inter_op_num_threads = 1
    if not whole_products():
        options.add_session_config_entry("session.disable_quant_qdq", "1")
    # threads that wait for more by spinning would fight for the processor with the next network, with all
    # that is worked out between, and with other programs
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")
    path = models_dir() / f"{name}.onnx"
    model: str | bytes = path.read_bytes() + _more_outputs(also) if also else str(path)
    return onnxruntime.InferenceSession(model, options, providers=["CPUExecutionProvider"])


def _more_outputs(tensors: tuple[str, ...]) -> bytes:
    """What, put behind a network's file, makes these tensors outputs.

    Messages of the same kind that follow each other are merged (Protocol Buffers, "Encoding", Last One Wins):
    field 7 of a ModelProto is its graph, field 12 of that an output, field 1 of that its name (onnx.proto).
    """

    def written(number: int, content: bytes) -> bytes:
        size, left = b"", len(content)
        while left > 127:
            size, left = size + bytes([left % 128 + 128]), left // 128
        return bytes([number * 8 + 2]) + size + bytes([left]) + content

    return written(7, b"".join(written(12, written(1, name.encode())) for name in tensors))


@lru_cache(maxsize=1)
def symbols_digest() -> str:
    """Says which symbol network this is; what was learnt of its features is worth nothing to another."""
    return hashlib.sha256((models_dir() / "symbols.onnx").read_bytes()).hexdigest()[:16]


def run_symbols(crops: np.ndarray, at_most: int = 64) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Run the symbol network on (n, h, w, 3) uint8 crops.

    Returns:
        Its float32 outputs, the same as of `run`; its last features (n, d) and those before them, which still
        know where in the crop they are (n, c, h', w'). Which tensors these are, `networks.json` says.
    """
    data = json.loads((models_dir() / "networks.json").read_text(encoding="utf-8"))
    session = _session("symbols", _threads(), tuple(data["features"]))
    parts = [
        session.run(None, {"picture": np.ascontiguousarray(crops[i : i + at_most])})
        for i in range(0, len(crops), at_most)
    ]
    out, last, placed = (np.concatenate(some) for some in zip(*parts, strict=True))
    return out, last, placed


def run(name: str, pictures: np.ndarray, at_most: int = 64) -> np.ndarray:
    """Run one network on (n, h, w, c) uint8 pictures; returns its float32 outputs."""
    session = _session(name, _threads())
    parts = [
        session.run(None, {"picture": np.ascontiguousarray(pictures[i : i + at_most])})[0]
        for i in range(0, len(pictures), at_most)
    ]
    return np.concatenate(parts) if len(parts) != 1 else np.asarray(parts[0])


def run_walk(views: np.ndarray, marks: np.ndarray) -> np.ndarray:
    """Run the network that walks along leads.

    (n, h, w, 3) uint8 views and (n, 2, h, w) marks to (n, 38) logits.
    """
    return np.asarray(_session("walk", _threads()).run(None, {"picture": views, "marks": marks})[0])


def run_follow(features: np.ndarray, blobs: np.ndarray, at_most: int = 2) -> np.ndarray:
    """Run the network that follows leads: (1, c, h, w) features of the lead network and (n, h, w) marks to
    (n, h, w) logits that the other end of the marked plug's lead is there.

    A few at a time, because they take memory; and these side by side, each with one thread: threads within
    the network share only part of its work.
    """
    threads = _threads()
    session, some = _session("follow", 1), max(1, min(at_most, len(blobs) // threads))

    def part(i: int) -> Any:
        return session.run(None, {"features": features, "blobs": blobs[i : i + some]})[0]

    with ThreadPoolExecutor(threads) as pool:
        return np.concatenate(list(pool.map(part, range(0, len(blobs), some))))

"""Renders scenes with the tracer, on a GPU when there is one, else on the CPU (same source, slower)."""

from __future__ import annotations

import ctypes
import subprocess
import tempfile
from multiprocessing import Pool
from pathlib import Path

import cv2
import labels
import numpy as np
import scenes
import torch

HERE = Path(__file__).parent


class Tracer:
    def __init__(self) -> None:
        self.gpu = torch.cuda.is_available()
        out = Path(tempfile.mkdtemp()) / "libtrace.so"
        if self.gpu:
            cmd = [
                "nvcc",
                "-O3",
                "--use_fast_math",
                "-arch=native",
                "-shared",
                "-Xcompiler",
                "-fPIC",
                str(HERE / "trace.cu"),
                "-o",
                str(out),
            ]
        else:
            cmd = [
                "g++",
                "-O3",
                "-march=native",
                "-ffast-math",
                "-fopenmp",
                "-shared",
                "-fPIC",
                str(HERE / "trace.cpp"),
                "-o",
                str(out),
            ]
        subprocess.run(cmd, check=True, capture_output=True)
        self.lib = ctypes.CDLL(str(out))
        sizes = [self.lib.trace_sizes(i) for i in range(3)]
        want = [scenes.SCENE.itemsize, scenes.CELL.itemsize, scenes.PRIM.itemsize]
        if sizes != want:
            raise RuntimeError(f"trace.h and scenes.py disagree about the layout: {sizes} {want}")
        self.dev = torch.device("cuda" if self.gpu else "cpu")

    def _up(self, a: np.ndarray) -> torch.Tensor:
        return torch.from_numpy(np.frombuffer(a.tobytes(), np.uint8).copy()).to(self.dev)

    def render(self, S, cells, prims, tex: torch.Tensor, W: int, H: int, spp: int, seed: int) -> torch.Tensor:
        """Lists of scenes to (n, H, W, 3) radiance."""
        n = len(S)
        bufs = [self._up(np.stack(x)) for x in (S, cells, prims)]
        out = torch.empty((n, H, W, 3), dtype=torch.float32, device=self.dev)
        p = lambda t: ctypes.c_void_p(t.data_ptr())
        self.lib.trace_render(
            p(bufs[0]), p(bufs[1]), p(bufs[2]), p(tex), p(out), n, W, H, spp, seed & 0x7FFFFFFF
        )
        if self.gpu:
            torch.cuda.synchronize()
        return out


def stage(presses: int, per: int, fonts: str, held_out: bool, seed: int):
    """What boards are drawn with: tracer, maker of scenes, torch's random generator, textures where the tracer wants them."""
    tex, *book = make_books(presses, per, fonts, held_out, seed, 2)
    tracer = Tracer()
    g = torch.Generator(tracer.dev).manual_seed(seed)
    return tracer, scenes.Maker(*book, seed), g, tex.to(tracer.dev)


def make_books(n_press: int, per: int, fonts: str, held_out: bool, seed: int, workers: int):
    """Textures (N, 160, 160, 3) uint8 tensor (CPU), kinds, press numbers, texts, text boxes, marker label numbers."""
    jobs = [(seed * 100000 + i, per, fonts, held_out, 160) for i in range(n_press)]
    if workers > 1:
        with Pool(workers) as pool:
            res = pool.map(labels.book, jobs, chunksize=4)
    else:
        res = [labels.book(j) for j in jobs]
    tex = [r[0] for r in res]
    kinds = np.concatenate([r[1] for r in res])
    texts = [t for r in res for t in r[2]]
    press = np.concatenate([r[3] for r in res])
    boxes = np.concatenate([r[4] for r in res])
    d = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_ARUCO_MIP_36h12)
    marks = []
    for i in range(4):
        m = cv2.resize(cv2.aruco.generateImageMarker(d, i, 128), (128, 128))
        q = np.full((160, 160), 255, np.uint8)
        q[16:144, 16:144] = m
        marks.append(np.repeat((255 - q)[..., None], 3, -1))
    total = sum(len(t) for t in tex)
    allt = np.concatenate([*tex, np.stack(marks)])
    return torch.from_numpy(allt), kinds, press, texts, boxes, np.arange(total, total + 4)

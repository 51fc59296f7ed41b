"""Renders scenes with the tracer, on a GPU when there is one, else on the CPU (same source, slower)."""

from __future__ import annotations

import ctypes
import os
import pickle
import shutil
import subprocess
import sys
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


def make_books(
    n_press: int, per: int, fonts: str, held_out: bool, seed: int, workers: int, keep: Path | None = None
):
    """Textures (N, 160, 160, 3) uint8 tensor (CPU), kinds, press numbers, texts, text boxes, marker label numbers.

    Args:
        keep: folder in which they are kept, and taken from when they are there: for several networks at once.
    """
    folder = keep or Path(tempfile.mkdtemp())
    tops, rest = folder / f"tops-{seed}-{n_press}.npy", folder / f"tops-{seed}-{n_press}.pkl"
    total = n_press * per
    if not rest.exists():
        folder.mkdir(parents=True, exist_ok=True)
        sheet = np.lib.format.open_memmap(tops, "w+", np.uint8, (total + 4, 160, 160, 3))
        sheet[total:] = _marks()
        sheet.flush()
        jobs = [((seed * 100000 + i, per, fonts, held_out, 160), tops, i * per) for i in range(n_press)]
        if workers > 1:
            with Pool(workers) as pool:
                res = pool.map(_printed, jobs, chunksize=4)
        else:
            res = [_printed(j) for j in jobs]
        rest.write_bytes(pickle.dumps(res))
    res = pickle.loads(rest.read_bytes())
    sheet = np.load(tops, mmap_mode="c" if keep else None)
    if not keep:
        shutil.rmtree(folder)
    kinds, press, boxes = (np.concatenate([r[k] for r in res]) for k in (0, 2, 3))
    texts = [t for r in res for t in r[1]]
    return torch.from_numpy(sheet), kinds, press, texts, boxes, np.arange(total, total + 4)


def _printed(job):
    """Print one book into its place among all; what else is known of it."""
    args, tops, first = job
    tex, kinds, texts, press, boxes = labels.book(args)
    sheet = np.load(tops, mmap_mode="r+")
    sheet[first : first + len(tex)] = tex
    return kinds, texts, press, boxes


def _marks() -> np.ndarray:
    """The four corner markers as labels."""
    d = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_ARUCO_MIP_36h12)
    marks = []
    for i in range(4):
        m = cv2.resize(cv2.aruco.generateImageMarker(d, i, 128), (128, 128))
        q = np.full((160, 160), 255, np.uint8)
        q[16:144, 16:144] = m
        marks.append(np.repeat((255 - q)[..., None], 3, -1))
    return np.stack(marks)


if (
    __name__ == "__main__"
):  # world.py FONTS FOLDER PRESSES PER SEED: print the labels of a run once for all its networks
    some, kept, presses, each, number = sys.argv[1:]
    make_books(int(presses), int(each), some, False, int(number), os.cpu_count() or 2, Path(kept))

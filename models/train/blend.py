"""The mean of two networks that began alike: often surer of what is right than either, and less sure of what is wrong.

    python revive.py FOLDER_WITH_ONNX A; python revive.py OTHER_FOLDER B
    python blend.py text A B OUT

After Wortsman et al. 2022, "Model soups". Both are checkpoints by `revive.py`, whose normalisations change nothing, so
that weights stand for the same in both.
"""

from __future__ import annotations

import sys
from pathlib import Path

import torch
from nets import keep_state


def mean(a: dict[str, torch.Tensor], b: dict[str, torch.Tensor]) -> dict[str, torch.Tensor]:
    """The mean of two states of one network."""
    if a.keys() != b.keys() or "folded" not in a:
        raise SystemExit("both must come from revive.py, and be the same network")
    return {k: (a[k].float() + b[k].float()) / 2 if a[k].is_floating_point() else a[k] for k in a}


if __name__ == "__main__":
    name, *folders, out = sys.argv[1:]
    a, b = (torch.load(Path(f) / f"{name}.pt", map_location="cpu", weights_only=True) for f in folders)
    state = mean(a, b)
    del state["folded"]
    keep_state(state, Path(out), name)

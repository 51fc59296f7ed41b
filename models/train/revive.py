"""Turn shipped networks back into what training goes on from.

    python revive.py ../ OUT      # symbols.onnx, text.onnx, ... to OUT/symbols.pt, ...

Shipped weights are 8-bit integers with the normalisation worked into them. They are widened again; the normalisation
becomes one that changes nothing, and `fit.py` sets it to what it sees on its first batches (key `folded`).
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import onnx
import torch
from nets import NETS, keep_state
from torch import nn

FILES = {"wires": ("wires", "follow")}


def constants(model: onnx.ModelProto) -> dict[str, np.ndarray]:
    """Every weight by name, 16-bit floats and scaled integers made plain."""
    known = {t.name: onnx.numpy_helper.to_array(t) for t in model.graph.initializer}
    for node in model.graph.node:
        if node.op_type == "Cast" and node.input[0] in known:
            known[node.output[0]] = known[node.input[0]].astype(np.float32)
    for node in model.graph.node:
        if node.op_type == "DequantizeLinear" and all(name in known for name in node.input):
            q, scale, zero = (known[name].astype(np.float32) for name in node.input)
            axis = next((a.i for a in node.attribute if a.name == "axis"), 1)
            shape = [1] * q.ndim
            if scale.ndim:
                shape[axis] = -1
            known[node.output[0]] = (q - zero.reshape(shape)) * scale.reshape(shape)
    return known


def revive(name: str, folder: Path) -> dict[str, torch.Tensor]:
    net = NETS[name]()
    modules, state = dict(net.named_modules()), net.state_dict()
    found = set()
    for file in FILES.get(name, (name,)):
        model = onnx.load(str(folder / f"{file}.onnx"))
        known = constants(model)
        for node in model.graph.node:
            if node.op_type not in ("Conv", "Gemm"):
                continue
            parts = [p.split(".")[-1] for p in node.name.strip("/").split("/")[:-1]]
            path = ".".join(p for p in parts if p != "net")
            module = modules[path]
            weight, bias = (torch.from_numpy(np.array(known[k], np.float32)) for k in node.input[1:3])
            own = state[f"{path}.weight"]
            if weight.shape != own.shape:  # a head that has grown since keeps what it knew
                grown = own.clone()
                grown[: len(weight)] = weight
                bias, weight = torch.cat([bias, state[f"{path}.bias"][len(bias) :]]), grown
            state[f"{path}.weight"] = weight
            if module.bias is not None:
                state[f"{path}.bias"] = bias
            else:
                before, _, number = path.rpartition(".")
                norm = f"{before}.{int(number) + 1}"
                state[f"{norm}.bias"] = bias
                state[f"{norm}.weight"] = torch.sqrt(torch.full_like(bias, 1 + modules[norm].eps))
            found.add(path)
    missing = [
        k for k, m in modules.items() if isinstance(m, nn.Conv2d | nn.Conv1d | nn.Linear) and k not in found
    ]
    if missing:
        raise SystemExit(f"{name}: no weights for {missing}")
    first = next(k for k, m in modules.items() if isinstance(m, nn.Conv2d))
    state[f"{first}.weight"][:, :3] = state[f"{first}.weight"][:, :3].flip(1).clone()  # see export.bgr
    if name == "wires":  # see export.folded
        state["first.0.weight"] = torch.sqrt(
            torch.full_like(state["first.0.bias"], 1 + modules["first.0"].eps)
        )
    state["folded"] = torch.ones(1)
    return state


if __name__ == "__main__":
    out = Path(sys.argv[2])
    for name in NETS:
        if not (Path(sys.argv[1]) / f"{name}.onnx").exists():
            print(f"{name}: no file, none made")
            continue
        keep_state(revive(name, Path(sys.argv[1])), out, name)
        print(name)

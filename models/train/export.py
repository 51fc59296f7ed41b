"""Write the trained networks as ONNX files, with their input normalisation inside.

python export.py FOLDER_WITH_PT OUT
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import onnx
import torch
from labels import CHARS
from nets import NETS
from symbols import KINDS
from torch import nn


class Bytes(nn.Module):
    """Takes BGR pictures of bytes (n, h, w, 3) as OpenCV has them."""

    def __init__(self, net, sigmoid=()):
        super().__init__()
        self.net, self.sigmoid = net, sigmoid

    def forward(self, x):
        x = x.permute(0, 3, 1, 2).float()
        return self.net(x.flip(1) / 255)


SHAPES = {
    "locate": (1, 480, 640, 3),
    "symbols": (2, 72, 72, 3),
    "text": (2, 32, 160, 3),
    "wires": (1, 352, 480, 3),
}


def halve(path: Path) -> None:
    """Store the weights as 16-bit floats, widened again when the network is loaded: half the file, same answers to 1e-3."""
    model = onnx.load(str(path))
    g = model.graph
    casts = []
    for t in g.initializer:
        if t.data_type == onnx.TensorProto.FLOAT and len(t.raw_data) > 2000:
            a = onnx.numpy_helper.to_array(t).astype(np.float16)
            name = t.name
            t.CopyFrom(onnx.numpy_helper.from_array(a, name + "_half"))
            casts.append(onnx.helper.make_node("Cast", [name + "_half"], [name], to=onnx.TensorProto.FLOAT))
    nodes = list(g.node)
    del g.node[:]
    g.node.extend(casts + nodes)
    onnx.checker.check_model(model)
    onnx.save(model, str(path))


def strips(src: Path, out: Path) -> None:
    """The network that weighs leads takes floats, in three inputs."""
    net = NETS["strips"]()
    net.load_state_dict(torch.load(src / "strips.pt", map_location="cpu", weights_only=True))
    torch.onnx.export(
        net.eval(),
        (torch.zeros(2, 8, 9, 64), torch.zeros(2, 6), torch.zeros(3, 7, 11, 11)),
        str(out / "strips.onnx"),
        input_names=["strips", "facts", "patches"],
        output_names=["pair", "none"],
        dynamic_axes={
            "strips": {0: "m"}, "facts": {0: "m"}, "patches": {0: "n"}, "pair": {0: "m"}, "none": {0: "n"}
        },
        opset_version=17,
        dynamo=False,
    )  # fmt: skip
    halve(out / "strips.onnx")
    print("strips", (out / "strips.onnx").stat().st_size)


if __name__ == "__main__":
    src, out = Path(sys.argv[1]), Path(sys.argv[2])
    out.mkdir(parents=True, exist_ok=True)
    if (src / "strips.pt").exists():
        strips(src, out)
    for name, shape in SHAPES.items():
        if not (src / f"{name}.pt").exists():
            print(f"{name}: no {name}.pt, {name}.onnx is left as it is")
            continue
        net = NETS[name]()
        net.load_state_dict(
            {
                k: v.float() if v.is_floating_point() else v
                for k, v in torch.load(src / f"{name}.pt", map_location="cpu", weights_only=True).items()
            }
        )
        net = Bytes(net.eval()).eval()
        x = torch.randint(0, 255, shape, dtype=torch.uint8)
        dyn = {0: "n"} if name in ("symbols", "text") else {0: "n", 1: "h", 2: "w"}
        torch.onnx.export(
            net,
            (x,),
            str(out / f"{name}.onnx"),
            input_names=["picture"],
            output_names=["out"],
            dynamic_axes={
                "picture": dyn,
                "out": {0: "n"} if name in ("symbols", "text") else {0: "n", 2: "h", 3: "w"},
            },
            opset_version=17,
            dynamo=False,
        )
        halve(out / f"{name}.onnx")
        print(name, (out / f"{name}.onnx").stat().st_size)
    (out / "networks.json").write_text(
        json.dumps({"kinds": [*KINDS, "other", "empty"], "characters": CHARS}, ensure_ascii=False, indent=1)
        + "\n"
    )

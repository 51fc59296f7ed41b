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
from nets import KEYS, NETS
from symbols import KINDS
from torch import nn


class Bytes(nn.Module):
    """Takes BGR pictures of bytes (n, h, w, 3) as OpenCV has them."""

    def __init__(self, net):
        super().__init__()
        self.net = net

    def forward(self, x):
        return self.net(x.permute(0, 3, 1, 2).float() / 255)


def bgr(net) -> None:
    """Let a network trained on RGB take BGR: its first layer's weights change places, which costs nothing when it runs."""
    first = next(m for m in net.modules() if isinstance(m, nn.Conv2d))
    with torch.no_grad():
        first.weight[:, :3] = first.weight[:, :3].flip(1).clone()


def folded(net) -> None:
    """Work the normalisation behind the sum of two convolutions into both (what is asked, and what is seen)."""
    norm = net.first[0]
    scale = norm.weight / torch.sqrt(norm.running_var + norm.eps)
    with torch.no_grad():
        for conv in (net.seen, net.told):
            conv.weight *= scale[:, None, None, None]
            conv.bias *= scale
        net.seen.bias += norm.bias - norm.running_mean * scale
    net.first[0] = nn.Identity()


SHAPES = {
    "locate": (1, 480, 640, 3),
    "symbols": (2, 72, 72, 3),
    "text": (2, 32, 160, 3),
    "wires": (1, 352, 480, 3),
    "walk": (2, 56, 56, 3),
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


class Maps(nn.Module):
    """The lead network: its maps, and behind them all that does not depend on which plug is asked about."""

    def __init__(self, net):
        super().__init__()
        self.net = net

    def forward(self, x):
        f = self.net.features(x)
        return torch.cat([self.net.head(f), *self.net.looked(f)], 1)


class Asked(nn.Module):
    """Where the other ends of plugs are, on one board."""

    def __init__(self, net):
        super().__init__()
        self.net = net

    def forward(self, features, blobs):
        return self.net.answered(features[:, :KEYS], features[:, KEYS:], blobs[None])[0, :, 1]


class Walked(nn.Module):
    """Views of bytes, as OpenCV has them, and marks."""

    def __init__(self, net):
        super().__init__()
        self.net = net

    def forward(self, picture, marks):
        return self.net(torch.cat([picture.permute(0, 3, 1, 2).float() / 255, marks], 1))


def walk(net, out: Path) -> None:
    """The network that walks along a lead takes views and marks."""
    torch.onnx.export(
        Walked(net).eval(),
        (torch.zeros(2, 56, 56, 3, dtype=torch.uint8), torch.zeros(2, 2, 56, 56)),
        str(out / "walk.onnx"),
        input_names=["picture", "marks"],
        output_names=["out"],
        dynamic_axes={"picture": {0: "n"}, "marks": {0: "n"}, "out": {0: "n"}},
        opset_version=17,
        dynamo=False,
    )
    halve(out / "walk.onnx")
    print("walk", (out / "walk.onnx").stat().st_size)


def follow(net, out: Path) -> None:
    """The network that follows one lead takes floats, in two inputs."""
    torch.onnx.export(
        Asked(net).eval(),
        (torch.zeros(1, 32, 64, 96), torch.zeros(3, 64, 96)),
        str(out / "follow.onnx"),
        input_names=["features", "blobs"],
        output_names=["ends"],
        dynamic_axes={
            "features": {2: "h", 3: "w"}, "blobs": {0: "n", 1: "h", 2: "w"}, "ends": {0: "n", 1: "h", 2: "w"}
        },
        opset_version=17,
        dynamo=False,
    )  # fmt: skip
    halve(out / "follow.onnx")
    print("follow", (out / "follow.onnx").stat().st_size)


if __name__ == "__main__":
    src, out = Path(sys.argv[1]), Path(sys.argv[2])
    out.mkdir(parents=True, exist_ok=True)
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
        net.eval()
        bgr(net)
        if name == "walk":
            walk(net, out)
            continue
        if name == "wires":
            folded(net)
            follow(net, out)
            net = Maps(net)
        net = Bytes(net).eval()
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

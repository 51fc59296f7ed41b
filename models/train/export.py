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
from nets import KEYS, NETS, Points
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


BYTES = torch.uint8
N, MAP = {0: "n"}, {0: "n", 1: "h", 2: "w"}  # axes whose length is left open


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


def write(path: Path, net, given: dict, open_axes: dict) -> None:
    """One ONNX file; `given` names the inputs with an example each, the one output is named last in `open_axes`."""
    torch.onnx.export(
        net.eval(),
        tuple(given.values()),
        str(path),
        input_names=list(given),
        output_names=[name for name in open_axes if name not in given],
        dynamic_axes=open_axes,
        opset_version=17,
        dynamo=False,
    )
    halve(path)
    print(path.stem, path.stat().st_size)


def files(name: str, net):
    """The files that a network becomes: name, module, examples of its inputs, open axes."""
    if name in ("symbols", "text", "points"):
        shape = (2, 72, 72, 3) if name == "symbols" else (2, 32, 160, 3)
        yield name, Bytes(net), {"picture": torch.zeros(shape, dtype=BYTES)}, {"picture": N, "out": N}
        return
    if name == "walk":
        views = {"picture": torch.zeros(2, 56, 56, 3, dtype=BYTES), "marks": torch.zeros(2, 2, 56, 56)}
        yield name, Walked(net), views, {"picture": N, "marks": N, "out": N}
        return
    if name == "wires":
        folded(net)
        asked = {"features": torch.zeros(1, 32, 64, 96), "blobs": torch.zeros(3, 64, 96)}
        yield "follow", Asked(net), asked, {"features": {2: "h", 3: "w"}, "blobs": MAP, "ends": MAP}
    picture = {"picture": torch.zeros(1, 352, 480, 3, dtype=BYTES)}
    maps = {"picture": MAP, "out": {0: "n", 2: "h", 3: "w"}}
    yield name, Bytes(Maps(net) if name == "wires" else net), picture, maps


def features_of(path: Path) -> list[str]:
    """The symbol network's last features, and those before them that still know where they are, by what they are for:
    what its last layer takes, and what is flattened. `quantise.py` asks again, since integers have other names."""
    graph = onnx.load(str(path)).graph
    last = next(n for n in graph.node if graph.output[0].name in n.output)
    flat = next(n for n in graph.node if n.op_type == "Flatten")
    return [last.input[0], flat.input[0]]


def tell(folder: Path) -> None:
    """What a folder's networks say, as `networks.json`. Kits that were taught must learn again after this
    (`snapcheck teach --again KIT`)."""
    told = {
        "kinds": [*KINDS, "other", "empty"],
        "characters": CHARS,
        "features": features_of(folder / "symbols.onnx"),
    }
    (folder / "networks.json").write_text(
        json.dumps(told, ensure_ascii=False, indent=1) + "\n", encoding="utf-8"
    )


if __name__ == "__main__":
    src, out = Path(sys.argv[1]), Path(sys.argv[2])
    out.mkdir(parents=True, exist_ok=True)
    for name, kind in {**NETS, "points": Points}.items():
        if not (src / f"{name}.pt").exists():
            print(f"{name}: no {name}.pt, its files are left as they are")
            continue
        net = kind()
        net.load_state_dict(
            {
                k: v.float() if v.is_floating_point() else v
                for k, v in torch.load(src / f"{name}.pt", map_location="cpu", weights_only=True).items()
            }
        )
        net.eval()
        bgr(net)
        for file, module, given, open_axes in files(name, net):
            write(out / f"{file}.onnx", module, given, open_axes)
    tell(out)

"""Turn the networks' convolutions into 8-bit integers: a third of the size, and two to three times as fast.

    python quantise.py FOLDER_WITH_ONNX FOLDER_WITH_PICTURES

The pictures (of the project's own boards, see boards.py) are read once; what each network is shown then sets the
ranges of its activations. Weights take seven bits, so that processors without VNNI do not saturate (onnxruntime's
documentation, "Quantize ONNX models"). The symbol network's last layers stay floats: its text boxes need them; so
do the first and last of the text network.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np
import onnx
from export import halve, tell
from lean import lean_file
from onnxruntime.quantization import CalibrationDataReader, QuantFormat, QuantType, quantize_static
from onnxruntime.quantization.shape_inference import quant_pre_process

from snapcheck.errors import PhotoError
from snapcheck.kit import bundled_kit
from snapcheck.photo import _cells, _locate, _nets, _walk, _wires, read_photo

MOST = {  # crops, lines, pictures, steps of walks
    "symbols": 384,
    "text": 384,
    "locate": 40,
    "wires": 40,
    "follow": 40,
    "walk": 80,
}
#: convolutions that stay floats: as integers they cost the surest tenth of all prints their certainty
FLOATS = {"text": ("/line/", "/body.0/")}
#: a network that stays floats as a whole: as integers it misses the plate's corners more often
WHOLE = ("locate",)
#: networks in which lean.py saves time: a seventh
LEAN = ("wires", "follow")
AT_ONCE = {"symbols": 32, "text": 32}


def gather(folder: Path) -> dict[str, list]:
    """What the networks are shown when the pictures are read."""
    shown: dict[str, list] = {name: [] for name in MOST}
    plain, plain_follow, plain_walk = _nets.run, _nets.run_follow, _nets.run_walk

    def run(name, pictures, at_most=64):
        shown[name] += list(np.array(pictures))
        return plain(name, pictures, at_most)

    def run_follow(features, blobs):
        shown["follow"].append({"features": features.copy(), "blobs": blobs})
        return plain_follow(features, blobs)

    def run_walk(views, marks):
        shown["walk"].append({"picture": views, "marks": marks})
        return plain_walk(views, marks)

    for module in (_cells, _locate, _wires):
        module.run = run
    _wires.run_follow, _walk.run_walk = run_follow, run_walk
    for photo in sorted(folder.glob("*.jpg")):
        try:
            read_photo(photo, bundled_kit())
        except PhotoError as error:
            print(f"{photo.name}: {error.message}")
    return shown


class Shown(CalibrationDataReader):
    def __init__(self, shown, at_once):
        if isinstance(shown[0], dict):
            self.batches = iter(shown)
        else:
            parts = (shown[i : i + at_once] for i in range(0, len(shown), at_once))
            self.batches = iter([{"picture": np.stack(part)} for part in parts])

    def get_next(self):
        return next(self.batches, None)


def widened(path: Path, out: Path) -> None:
    """Undo export.py's 16-bit storage: the quantiser wants plain weights."""
    model = onnx.load(str(path))
    stored = {t.name: t for t in model.graph.initializer}
    keep = []
    for node in model.graph.node:
        if node.op_type == "Cast" and node.input[0] in stored:
            half = stored[node.input[0]]
            plain = onnx.numpy_helper.to_array(half).astype(np.float32)
            model.graph.initializer.remove(half)
            model.graph.initializer.append(onnx.numpy_helper.from_array(plain, node.output[0]))
        else:
            keep.append(node)
    del model.graph.node[:]
    model.graph.node.extend(keep)
    onnx.save(model, str(out))


def main() -> None:
    models, pictures = Path(sys.argv[1]), Path(sys.argv[2])
    shown = gather(pictures)
    rng = np.random.default_rng(0)
    for name, most in MOST.items():
        path = models / f"{name}.onnx"
        if name in WHOLE:
            print(f"{name}: stays floats")
            continue
        if any(n.op_type == "DequantizeLinear" for n in onnx.load(str(path)).graph.node):
            print(f"{name}: is quantised already, left as it is")
            continue
        order = rng.permutation(len(shown[name]))[:most]
        with tempfile.TemporaryDirectory() as folder:
            plain, ready = Path(folder) / "plain.onnx", Path(folder) / "ready.onnx"
            widened(path, plain)
            quant_pre_process(str(plain), str(ready), skip_symbolic_shape=True)
            before = path.stat().st_size
            quantize_static(
                str(ready),
                str(path),
                Shown([shown[name][i] for i in order], AT_ONCE.get(name, 1)),
                quant_format=QuantFormat.QDQ,
                per_channel=True,
                activation_type=QuantType.QUInt8,
                weight_type=QuantType.QInt8,
                op_types_to_quantize=["Conv"],
                nodes_to_exclude=[
                    n.name
                    for n in onnx.load(str(ready)).graph.node
                    if n.op_type == "Conv" and any(part in n.name for part in FLOATS.get(name, ()))
                ],
            )
            halve(path)
        if name in LEAN:
            lean_file(path)
        print(f"{name}: {len(order)} shown, {before} -> {path.stat().st_size} bytes")
    tell(models)


if __name__ == "__main__":
    main()

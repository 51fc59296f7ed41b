"""Take out of quantised networks what they reckon in vain, without changing one bit of what they say.

    python lean.py NETWORK.onnx ...

The quantiser puts a step to integers right before each convolution. Moved up through what only sorts values anew
(nearest neighbours, side by side, axes exchanged), it works on fewer values, or meets values that are integers
already, and both fall away: those of pictures, which are bytes, and those of skip connections.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import onnx
from onnx import helper, numpy_helper


def lean(model: onnx.ModelProto) -> int:
    """Move steps to integers up; returns how many were moved."""
    graph = model.graph
    made_by = {out: node for node in graph.node for out in node.output}
    stored = {t.name: numpy_helper.to_array(t) for t in graph.initializer}
    constants = [n for n in graph.node if n.op_type == "Constant"]
    stored |= {n.output[0]: numpy_helper.to_array(n.attribute[0].t) for n in constants}
    added: dict[str, onnx.NodeProto] = {}

    def made(op: str, of: str, inputs: list[str], like: onnx.NodeProto | None = None) -> str:
        name = f"{of}_integers_{op}" if like else f"{of}_integers_{'_'.join(inputs[1:])}"
        if name not in added:
            added[name] = helper.make_node(op, inputs, [name], name=name)
            if like is not None:
                added[name].attribute.extend(like.attribute)
        return name

    def integers(value: str, scale: str, zero: str) -> str:
        """The name of `value` as integers."""
        node = made_by.get(value)
        if node is None:
            return made("QuantizeLinear", value, [value, scale, zero])
        if node.op_type in ("Transpose", "Resize") and not interpolates(node):
            first = integers(node.input[0], scale, zero)
            return made(node.op_type, value, [first, *node.input[1:]], node)
        if node.op_type == "Concat":
            return made("Concat", value, [integers(i, scale, zero) for i in node.input], node)
        if node.op_type == "DequantizeLinear" and all(
            np.array_equal(stored[a], stored[b]) for a, b in zip(node.input[1:], (scale, zero), strict=True)
        ):
            return node.input[0]
        if node.op_type == "Div" and bytes_again(node, scale, zero):
            return made_by[node.input[0]].input[0]
        return made("QuantizeLinear", value, [value, scale, zero])

    def interpolates(node: onnx.NodeProto) -> bool:
        return any(a.name == "mode" and a.s != b"nearest" for a in node.attribute)

    def bytes_again(node: onnx.NodeProto, scale: str, zero: str) -> bool:
        """Whether this divides bytes by what the step to integers multiplies them with."""
        cast, by = made_by.get(node.input[0]), stored.get(node.input[1])
        if cast is None or cast.op_type != "Cast" or by is None or by.size != 1 or stored[zero] != 0:
            return False
        source = cast.input[0]
        while source in made_by and made_by[source].op_type == "Transpose":
            source = made_by[source].input[0]
        kinds = {i.name: i.type.tensor_type.elem_type for i in graph.input}
        every = np.arange(256, dtype=np.float32)
        same = np.round(every / np.float32(by.item()) / np.float32(stored[scale])) == every
        return bool(same.all()) and kinds.get(source) == onnx.TensorProto.UINT8

    moved = 0
    for node in [n for n in graph.node if n.op_type == "QuantizeLinear"]:
        value, scale, zero = node.input
        name = integers(value, scale, zero)
        if added.get(name) is not None and list(added[name].input) == [value, scale, zero]:
            del added[name]
            continue
        moved += 1
        for other in graph.node:
            for k, i in enumerate(other.input):
                if i == node.output[0]:
                    other.input[k] = name
        graph.node.remove(node)
    in_order(graph, [*graph.node, *added.values()])
    return moved


def in_order(graph: onnx.GraphProto, nodes: list[onnx.NodeProto]) -> None:
    """Nodes whose outputs somebody wants, each behind what it needs."""
    made_by = {out: node for node in nodes for out in node.output}
    wanted: dict[str, onnx.NodeProto] = {}

    def want(name: str) -> None:
        node = made_by.get(name)
        if node is None or node.output[0] in wanted:
            return
        for i in node.input:
            want(i)
        wanted[node.output[0]] = node

    sys.setrecursionlimit(10_000)
    for out in graph.output:
        want(out.name)
    used = {i for node in wanted.values() for i in node.input}
    stored = [t for t in graph.initializer if t.name in used]
    del graph.initializer[:]
    graph.initializer.extend(stored)
    kept = [onnx.NodeProto.FromString(node.SerializeToString()) for node in wanted.values()]
    del graph.node[:]
    graph.node.extend(kept)


def lean_file(path: Path) -> None:
    model = onnx.load(str(path))
    moved = lean(model)
    if moved:
        onnx.checker.check_model(model)
        onnx.save(model, str(path))
    print(f"{path.stem}: {moved} steps to integers moved")


def main() -> None:
    for path in map(Path, sys.argv[1:]):
        lean_file(path)


if __name__ == "__main__":
    main()

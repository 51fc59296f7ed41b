"""SPICE subcircuits that stand for a device in the netlist, written out line by line.

The text is that of any SPICE: ``.subckt NAME PORTS params: NAME=VALUE``, elements, ``.ends``, comments from
``*`` on. Numbers may be worked out from parameters in braces: ``{6.2832*gbw_Hz*30e-12}``. They are written
out here and not by ngspice, so that every node and device has a name of our own making and can be altered.
"""

from __future__ import annotations

import ast
import functools
import importlib.resources
import operator
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

#: nodes that each sort of element has; B sources hold further ones in their expression
_NODES = {"r": 2, "c": 2, "l": 2, "v": 2, "i": 2, "d": 2, "b": 2, "e": 4, "g": 4, "s": 4, "q": 3, "k": 0}
_IN_EXPRESSION = re.compile(r"\bv\(([a-z0-9]+)(?:,([a-z0-9]+))?\)")
_BRACES = re.compile(r"\{([^{}]*)\}")


@dataclass(frozen=True)
class Subcircuit:
    """One subcircuit.

    Attributes:
        ports: its terminals, in order.
        defaults: parameters and what they are where nobody says otherwise.
        lines: elements as words.
    """

    name: str
    ports: tuple[str, ...]
    defaults: Mapping[str, float]
    lines: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Template:
    """A file of subcircuits; the last one stands for the device, the others are parts of it."""

    subcircuits: Mapping[str, Subcircuit]

    @property
    def main(self) -> Subcircuit:
        """What stands for the device."""
        return list(self.subcircuits.values())[-1]

    def written(
        self, index: int, outer: Mapping[str, str], parameters: Mapping[str, float]
    ) -> tuple[list[str], list[str]]:
        """Netlist lines and inner nodes.

        Args:
            index: number of the part, which makes names unique.
            outer: port to the node outside.
            parameters: that differ from the defaults.
        """
        inner: dict[str, None] = {}
        lines = list(self._lines(self.main, str(index), dict(outer), parameters, inner))
        return lines, list(inner)

    def _lines(
        self,
        sub: Subcircuit,
        mark: str,
        nodes: Mapping[str, str],
        given: Mapping[str, float],
        inner: dict[str, None],
    ) -> Iterator[str]:
        values = {**sub.defaults, **{name: given[name] for name in sub.defaults if name in given}}

        def node(name: str) -> str:
            if name == "0" or name in nodes:
                return nodes.get(name, "0")
            made = f"i{mark}z{name}"
            inner[made] = None
            return made

        def number(text: str) -> str:
            return _BRACES.sub(lambda m: f"{calculated(m[1], values):.12g}", text)

        def across(match: re.Match[str]) -> str:
            """A voltage in an expression; ngspice has no v(0)."""
            first, second = node(match[1]), node(match[2] or "0")
            if second == "0":
                return f"v({first})" if first != "0" else "0"
            return f"v({first},{second})" if first != "0" else f"(0-v({second}))"

        for words in sub.lines:
            sort, name = words[0][0], words[0][1:]
            if sort == "x":
                part = self.subcircuits[words[-1]]
                ports = dict(zip(part.ports, map(node, words[1:-1]), strict=True))
                yield from self._lines(part, f"{mark}z{name}", ports, values | dict(given), inner)
            elif sort == ".":
                yield number(f".model m{mark}z{words[1]} {' '.join(words[2:])}")
            else:
                count = _NODES[sort]
                joined, rest = [node(w) for w in words[1 : count + 1]], list(words[count + 1 :])
                if sort in "dqs":
                    rest[0] = f"m{mark}z{rest[0]}"
                elif sort == "k":
                    rest[:2] = [f"{w[0]}{mark}z{w[1:]}" for w in rest[:2]]
                elif sort == "b":
                    rest = [_IN_EXPRESSION.sub(across, w) for w in rest]
                yield number(" ".join([f"{sort}{mark}z{name}", *joined, *rest]))


def parsed(text: str) -> Template:
    """A template from its text; raises ValueError where it is none."""
    found: dict[str, Subcircuit] = {}
    head: list[str] = []
    lines: list[tuple[str, ...]] = []
    for line in text.lower().splitlines():
        words = tuple(line.split("*")[0].split()) if line.lstrip().startswith("*") else tuple(line.split())
        if not words:
            continue
        if words[0] == ".subckt":
            head, lines = list(words[1:]), []
        elif words[0] == ".ends":
            ports, _, given = " ".join(head[1:]).partition("params:")
            defaults = {k: float(v) for k, v in (word.split("=") for word in given.split())}
            found[head[0]] = Subcircuit(head[0], tuple(ports.split()), defaults, tuple(lines))
        elif words[0][0] in _NODES or words[0][0] == "x" or words[0] == ".model":
            lines.append(words)
        else:
            raise ValueError(f"'{words[0]}' is no element of a template")
    if not found:
        raise ValueError("no subcircuit is closed by .ends")
    return Template(found)


@functools.cache
def template(name: str) -> Template:
    """A template that comes with snapcheck, by the name of its file."""
    resource = importlib.resources.files("snapcheck.devices") / "data" / f"{name}.cir"
    return parsed(resource.read_text(encoding="ascii"))


_OPERATORS: dict[type, Callable[[float, float], float]] = {
    ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul, ast.Div: operator.truediv,
}  # fmt: skip


def calculated(text: str, values: Mapping[str, float]) -> float:
    """A sum or product of numbers and parameters; raises ValueError for anything else."""

    def value(tree: ast.expr) -> float:
        match tree:
            case ast.Constant(value=int() | float() as number):
                return float(number)
            case ast.Name(id=name) if name in values:
                return values[name]
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return -value(operand)
            case ast.BinOp(left=left, op=op, right=right) if type(op) in _OPERATORS:
                return _OPERATORS[type(op)](value(left), value(right))
            case _:
                raise ValueError(f"'{text}' is no sum or product of numbers and parameters")

    return value(ast.parse(text.strip(), mode="eval").body)

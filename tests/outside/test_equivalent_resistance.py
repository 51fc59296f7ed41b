"""Circuits that are called the same have the same resistance, by another way of calculating it.

Source: effective resistance between two nodes of a resistor network from the pseudo-inverse of its
Laplacian, R = L+aa + L+bb - 2 L+ab (Klein and Randić, "Resistance distance", J. Math. Chem. 12, 1993);
computed here with numpy, and independently by networkx.resistance_distance.
"""

from __future__ import annotations

import random

import networkx as nx
import numpy as np
import pytest
from handmade import Entry, handmade

from snapcheck.circuit import equivalence


def resistance(edges: list[tuple[int, int, float]], a: int, b: int) -> float:
    nodes = sorted({n for x, y, _ in edges for n in (x, y)})
    place = {n: i for i, n in enumerate(nodes)}
    laplacian = np.zeros((len(nodes), len(nodes)))
    for x, y, ohms in edges:
        i, j = place[x], place[y]
        laplacian[i, i] += 1 / ohms
        laplacian[j, j] += 1 / ohms
        laplacian[i, j] -= 1 / ohms
        laplacian[j, i] -= 1 / ohms
    inverse = np.linalg.pinv(laplacian)
    i, j = place[a], place[b]
    return float(inverse[i, i] + inverse[j, j] - 2 * inverse[i, j])


def rebuilt(edges: list[tuple[int, int, float]], rng: random.Random) -> list[tuple[int, int, float]]:
    """The same network with some resistors made of two in series or in parallel."""
    new: list[tuple[int, int, float]] = []
    node = max(n for x, y, _ in edges for n in (x, y))
    for x, y, ohms in edges:
        match rng.randrange(3):
            case 0:
                new.append((x, y, ohms))
            case 1:
                node += 1
                share = rng.choice((0.25, 0.5))
                new += [(x, node, ohms * share), (node, y, ohms * (1 - share))]
            case _:
                new += [(x, y, ohms * 2), (y, x, ohms * 2)]
    rng.shuffle(new)
    return new


def circuit_of(edges: list[tuple[int, int, float]]) -> list[Entry]:
    fed: list[Entry] = [("battery", 9.0, {"plus": 1, "minus": 0})]
    return fed + [("resistor", ohms, {"a": x, "b": y}) for x, y, ohms in edges]


@pytest.mark.parametrize("seed", range(25))
def test_networks_called_the_same_have_the_same_resistance(seed: int) -> None:
    rng = random.Random(seed)
    graph = nx.gnm_random_graph(7, 12, seed=seed)
    if not nx.is_connected(graph):
        pytest.skip("a network in pieces has no resistance between its ends")
    edges = [(a, b, rng.choice((100.0, 470.0, 1000.0, 4700.0))) for a, b in graph.edges]
    other = rebuilt(edges, rng)
    assert equivalence(handmade(*circuit_of(edges)), handmade(*circuit_of(other)))
    first, second = resistance(edges, 0, 1), resistance(other, 0, 1)
    assert first == pytest.approx(second, rel=1e-9)
    weighted = nx.Graph()
    for a, b, ohms in edges:
        weighted.add_edge(a, b, weight=ohms)
    assert first == pytest.approx(nx.resistance_distance(weighted, 0, 1, weight="weight"), rel=1e-6)


@pytest.mark.parametrize("seed", range(10))
def test_one_value_changed_changes_both(seed: int) -> None:
    rng = random.Random(seed)
    edges = [(0, 2, 1000.0), (2, 1, 470.0), (2, 3, 4700.0), (3, 1, 100.0), (0, 3, 1000.0)]
    index = rng.randrange(len(edges))
    other = [(a, b, v * 2 if i == index else v) for i, (a, b, v) in enumerate(edges)]
    assert not equivalence(handmade(*circuit_of(edges)), handmade(*circuit_of(other)))
    assert resistance(edges, 0, 1) != pytest.approx(resistance(other, 0, 1), rel=1e-3)

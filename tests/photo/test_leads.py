"""Leads: what plugs say of each other, and which set of leads all of them together call likeliest."""

from __future__ import annotations

import json
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from snapcheck.board import board_from_json
from snapcheck.kit import bundled_kit
from snapcheck.photo import _wires, read_photo

PHOTOS = Path(__file__).parents[2] / "fixtures" / "photos"


def test_a_mark_is_highest_at_its_plug_and_read_back_between_pixels() -> None:
    at = np.array([[10.0, 6.0], [3.5, 4.25]])
    marks = _wires.blobs((12, 20), at)
    assert marks.shape == (2, 12, 20) and marks[0].argmax() == 6 * 20 + 10
    back = _wires.at_places(marks, at)
    assert back[0, 0] == pytest.approx(1.0)
    x, y = np.meshgrid([3, 4], [4, 5])
    w = np.array([[0.5 * 0.75, 0.5 * 0.75], [0.5 * 0.25, 0.5 * 0.25]])
    assert back[1, 1] == pytest.approx(float((marks[1][y, x] * w).sum()), rel=1e-4)


def test_peaks_go_to_the_nearest_socket_and_no_further_than_a_plug_leans() -> None:
    plug = np.full((40, 60), 0.01, np.float32)
    plug[10, 12], plug[30, 50] = 0.9, 0.8
    found = _wires.candidates(plug, np.array([[11.0, 10.0], [14.5, 10.0], [40.0, 12.0]]))
    assert found.ends == [0]
    assert found.at[0] == pytest.approx([12, 10], abs=0.3) and found.sure[0] == pytest.approx(0.9, abs=0.05)


def test_every_row_is_a_distribution_and_itself_means_no_lead() -> None:
    said = np.array([[3.0, 1.0, -2.0], [0.5, 0.0, 0.0], [-1.0, 2.0, 5.0]])
    rows = np.exp(_wires.weigh(said))
    assert rows.sum(1) == pytest.approx(1.0)
    assert rows[0, -1] == pytest.approx(np.exp(3) / np.exp(said[0]).sum(), rel=1e-6)
    assert np.diag(rows[:, :3]) == pytest.approx(0, abs=1e-9)


@given(st.integers(2, 6), st.integers(0, 10_000))
def test_the_leads_chosen_are_those_for_which_the_most_speaks(n: int, seed: int) -> None:
    """Against every possible set of leads, tried one by one."""
    said = _wires.weigh(np.random.default_rng(seed).normal(size=(n, n)) * 3)

    def worth(pairs: tuple[tuple[int, int], ...]) -> float:
        return sum(said[a, b] + said[b, a] - said[a, -1] - said[b, -1] for a, b in pairs)

    every = list(combinations(range(n), 2))
    sets = [
        some
        for k in range(n // 2 + 1)
        for some in combinations(every, k)
        if len({e for pair in some for e in pair}) == 2 * k
    ]
    pairs, loose = _wires.choose(said)
    chosen = tuple(p.ends for p in pairs)
    assert worth(chosen) == pytest.approx(max(map(worth, sets)), abs=1e-6)
    assert not set(loose) & {e for pair in chosen for e in pair}
    chances = np.exp([worth(some) / 2 for some in sets])
    for p in pairs:
        among = sum(c for some, c in zip(sets, chances, strict=True) if p.ends in some)
        assert p.confidence == pytest.approx(among / chances.sum(), abs=1e-5)


def test_many_plugs_are_told_apart_without_going_through_all_sets() -> None:
    """Twenty plugs in a row of pairs, each sure of its partner."""
    said = np.full((20, 20), -4.0)
    for a in range(0, 20, 2):
        said[a, a + 1] = said[a + 1, a] = 4.0
    pairs, loose = _wires.choose(_wires.weigh(said))
    assert [p.ends for p in pairs] == [(a, a + 1) for a in range(0, 20, 2)] and not loose
    assert all(p.confidence > 0.99 for p in pairs)


@pytest.mark.parametrize("name", ["flasher-crossing-leads", "mixed-cubes"])
def test_both_ends_of_leads_on_photos(name: str) -> None:
    """Pictures drawn for snapcheck, two leads crossing among them."""
    truth = board_from_json(json.loads((PHOTOS / f"{name}.json").read_text(encoding="utf-8")), bundled_kit())
    reading = read_photo(PHOTOS / f"{name}.jpg", bundled_kit())
    assert truth.leads
    assert {r.lead for r in reading.leads} == set(truth.leads)

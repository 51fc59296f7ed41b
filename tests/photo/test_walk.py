"""Walking along leads: views, ways ahead, and where walks end."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from snapcheck.photo import _nets, _walk, _wires

CELL = 2 * _wires.PER_CELL


def test_the_way_come_is_told_back_from_its_head_at_even_steps() -> None:
    way = _walk.STEP * np.array([[2, 2], [2, 1], [2, 0], [1, 0], [0, 0]])
    tail = _walk._tail(np.stack([way, way + 1]))
    assert tail[0, 0] == pytest.approx(way[0])
    assert tail[0, 1] == pytest.approx(way[0] - [0, _walk.APART])
    assert tail[0, 8] == pytest.approx([4 * _walk.STEP - 8 * _walk.APART, 0])
    assert tail[0, -1] == pytest.approx([0, 0]) and tail.shape[1] == 16  # all there is of it
    assert tail[1] == pytest.approx(tail[0] + 1)
    # no place is told twice, however many steps have been made: marks would add up
    long = np.stack([np.zeros(_walk.REMEMBER), -_walk.STEP * np.arange(_walk.REMEMBER)], -1)[None]
    for k in range(1, _walk.REMEMBER + 1):
        gaps = -np.diff(_walk._tail(long[:, :k])[0, :, 1])
        assert (gaps > 1e-3).all() and (gaps[:-1] == pytest.approx(_walk.APART))
    assert _walk._tail(long).shape == (1, _walk.TAIL, 2)


def test_marks_stand_where_their_places_are_and_nowhere_else() -> None:
    maps = _walk._marks(np.array([[[0.35, -0.35], [9.0, 9.0]], [[9.0, 9.0], [9.0, 9.0]]]))
    y, x = np.unravel_index(maps[0].argmax(), maps[0].shape)
    assert ((x + 0.5) / _walk.VIEW - 0.5) * _walk.SPAN == pytest.approx(0.35, abs=0.02)
    assert ((y + 0.5) / _walk.VIEW - 0.5) * _walk.SPAN == pytest.approx(-0.35, abs=0.02)
    assert maps[0].max() > 0.9 and maps[1].max() < 0.5 / 255  # of the network's steps less than half
    # many marks: at every pixel the highest
    places = np.stack([np.linspace(-0.6, 0.5, _walk.TAIL), np.linspace(0.2, 0.3, _walk.TAIL)], -1)[None]
    u = (np.arange(_walk.VIEW) + 0.5) / _walk.VIEW * _walk.SPAN - _walk.SPAN / 2
    gap = np.hypot(u[None, None] - places[0, :, :1, None], u[None, :, None] - places[0, :, 1:, None])
    assert _walk._marks(places)[0] == pytest.approx(
        np.exp(-(gap.min(0) ** 2) / (2 * _walk.MARK**2)), abs=0.08
    )


def test_two_ways_ahead_are_both_seen_with_their_shares() -> None:
    angle = np.zeros((2, _walk.ANGLES))
    angle[0, [35, 0, 9]] = 0.3, 0.3, 0.4
    angle[1, [18, 4]] = 0.99, 0.01  # too little to be a way
    turn, share = _walk._forks(angle)
    assert share == pytest.approx(np.array([[0.6, 0.4, 0], [1, 0, 0]]))
    assert np.degrees(turn[0, :2]) == pytest.approx([-5, 90]) and abs(math.degrees(turn[1, 0])) == 180


def test_ways_that_meet_go_on_as_one_and_few_are_kept() -> None:
    here = np.array([[[1.0, 1.0]]] * 3 + [[[1.0 + k, 1.0]] for k in range(20)])
    row, likely = np.array([0] * 3 + [1] * 20), np.array([0.5, 0.25, 0.2] + [0.02] * 20)
    kept = _walk._likeliest(_walk.Ways(row, likely, np.array([0.0, 0.1, 2.0] + [0.0] * 20), here))
    assert kept.likely[kept.row == 0] == pytest.approx([0.75, 0.2])
    assert (kept.row == 1).sum() == _walk.BEAMS == len(kept.points) - 2


def test_a_walk_that_goes_straight_arrives_at_the_socket_that_is_there(monkeypatch) -> None:
    """A network that sees a way to the right, then straight on, then an end at a socket ahead."""
    sockets = np.array([[1.0, 1.0], [3.0, 1.05], [3.0, 3.0], [2.0, 0.3]])

    def straight(views: np.ndarray, marks: np.ndarray) -> np.ndarray:
        assert views.shape[1:] == (56, 56, 3) and views.dtype == np.uint8
        out = np.full((len(views), _walk.ANGLES + 2), -9.0, np.float32)
        first = (marks[:, 0] > 0.5).sum((1, 2)) < 40  # no way come: a dot
        out[np.arange(len(views)), np.where(first, 9, 0)] = 9
        out[~first, _walk.ANGLES] = np.where(marks[~first, 1, 18:30, 24:32].max((1, 2)) > 0.5, 9, -9)
        return out

    monkeypatch.setattr(_walk, "run_walk", straight)
    board = np.zeros((4 * CELL, 4 * CELL, 3), np.uint8)
    came, bare = _walk.arrivals(board, CELL, sockets, sockets, [0])
    assert came.shape == (1, 4) and came[0].argmax() == 1 and came[0, 1] > 0.9
    assert came.sum() <= 1 + 1e-6 and came[0, 0] == 0 and bare[0] < 0.01


@pytest.mark.parametrize(("lost", "runs"), [(-9.0, 6), (9.0, 1)])
def test_ways_end_where_the_picture_ends_and_from_plugs_without_a_lead_none_is_gone_on(
    monkeypatch, lost: float, runs: int
) -> None:
    asked: list[int] = []

    def up(views: np.ndarray, marks: np.ndarray) -> np.ndarray:
        out = np.full((len(views), _walk.ANGLES + 2), -9.0, np.float32)
        out[:, 0], out[:, _walk.ANGLES + 1] = 9, lost
        asked.append(len(views))
        return out

    monkeypatch.setattr(_walk, "run_walk", up)
    plugs = np.array([[2.0, 5.5 * _walk.STEP], [3.0, 2.0]])
    came, bare = _walk.arrivals(np.zeros((4 * CELL, 4 * CELL, 3), np.uint8), CELL, plugs, plugs, [0])
    assert asked == [1] * runs and came.max() < 0.01 and (bare[0] > 0.97) == (runs == 1)


def drawn(leads: list[np.ndarray], colour: tuple[int, int, int]) -> np.ndarray:
    """Leads of one colour on pale cubes, as flat drawing."""
    board = np.full((8 * CELL, 10 * CELL, 3), (196, 200, 204), np.uint8)
    for k in range(11):
        cv2.line(board, (k * CELL, 0), (k * CELL, 8 * CELL), (110, 112, 116), 2)
        cv2.line(board, (0, k * CELL), (10 * CELL, k * CELL), (110, 112, 116), 2)
    for way in leads:
        px = np.round(way * CELL).astype(np.int32)
        dark = tuple(int(0.6 * c) for c in colour)
        cv2.polylines(board, [px[:, None]], False, dark, 8, cv2.LINE_AA)
        cv2.polylines(board, [px[:, None]], False, colour, 5, cv2.LINE_AA)
        for end in (px[0], px[-1]):
            cv2.circle(board, tuple(int(c) for c in end), 6, dark, -1, cv2.LINE_AA)
    return cv2.GaussianBlur(board, (3, 3), 0)


@pytest.mark.parametrize("colour", [(40, 40, 200), (30, 140, 30), (40, 180, 230)])
def test_leads_of_one_colour_that_cross_are_walked_to_their_own_ends(colour: tuple[int, int, int]) -> None:
    """The shipped network on a flat drawing of two leads that cross: nothing like it was trained on."""
    t = np.linspace(0, 1, 80)
    bow = 0.5 * np.sin(math.pi * t)
    leads = [np.stack([2 + 5 * t, 2 + 3 * t - bow], -1), np.stack([2 + 5 * t, 5 - 3 * t - bow], -1)]
    ends = np.array([leads[0][0], leads[0][-1], leads[1][0], leads[1][-1]])
    came, bare = _walk.arrivals(drawn(leads, colour), CELL, ends, ends, [0, 1, 2, 3])
    assert list(came.argmax(1)) == [1, 0, 3, 2] and (bare < 0.5).all()


def test_only_plugs_in_doubt_are_walked_from_and_their_walks_count(monkeypatch) -> None:
    said = np.full((5, 5), -6.0)
    said[0, 1] = said[1, 0] = 6.0  # settled
    said[2, 3] = said[2, 4] = said[3, 2] = said[4, 2] = 2.0  # 3 or 4?
    np.fill_diagonal(said, -4.0)
    table = _wires.weigh(said)
    asked: list[int] = []

    def arrivals(board, per_cell, sockets, plugs, ask):
        asked.extend(ask)
        assert per_cell == CELL and np.array_equal(sockets, plugs)
        came = np.array([[0, 0, 0, 0.1 * (k == 2), 0.8 * (k == 2)] for k in ask])
        return came, np.array([0.9 * (k == 3) for k in ask])

    monkeypatch.setattr(_wires, "arrivals", arrivals)
    at = np.arange(10.0).reshape(5, 2)
    out = _wires.walked(np.zeros((4, 4, 3), np.uint8), at, at, [0, 1, 2, 3, 4], table)
    assert asked == [2, 3, 4]
    assert np.exp(out[:2]) == pytest.approx(np.exp(table[:2])) and np.exp(out).sum(1) == pytest.approx(1.0)
    assert out[3, -1] > table[3, -1] + 0.1 > out[2, -1]  # no lead starts at 3
    assert out[2, 4] > out[2, 3] and table[2, 4] == pytest.approx(table[2, 3])
    assert [p.ends for p in _wires.choose(out)[0]] == [(0, 1), (2, 4)]


def test_plugs_that_are_asked_about_side_by_side_get_the_answers_they_get_alone() -> None:
    rng = np.random.default_rng(3)
    features = rng.normal(size=(1, 32, 32, 64)).astype(np.float32)
    blobs = _wires.blobs((32, 64), rng.uniform(4, 28, (5, 2)))
    alone = np.concatenate([_nets.run_follow(features, b[None]) for b in blobs])
    together = _nets.run_follow(features, blobs)
    assert together.shape == blobs.shape and np.array_equal(together, alone) and np.ptp(alone) > 0.1

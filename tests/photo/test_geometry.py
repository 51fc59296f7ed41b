"""Lattice, plate and print decoding on numbers made by hand, without networks."""

from __future__ import annotations

import numpy as np
import pytest

from snapcheck.photo._beam import best_readings
from snapcheck.photo._camera import apply, first_camera, undistort
from snapcheck.photo._cells import decode
from snapcheck.photo._lattice import fit, homography, peaks
from snapcheck.photo._nets import names
from snapcheck.photo._plate import explain
from snapcheck.photo._reading import Frame


def _camera(
    tilt: float, azimuth: float, distance: float, focal: float, centre: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Homography of the plane of the tops for a camera looking at the middle of a board; and its position."""
    t, a = np.radians([tilt, azimuth])
    forward = np.array([np.sin(t) * np.sin(a), -np.sin(t) * np.cos(a), -np.cos(t)])
    right = np.array([1.0, 0, 0]) - forward * forward[0]
    right /= np.linalg.norm(right)
    down = np.cross(right, forward)
    position = np.array([5.0, 3.5, 0]) - forward * distance
    r = np.stack([right, down, forward])
    k = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1]])
    h = k @ np.c_[r[:, 0], r[:, 1], -r @ position]
    return h / h[2, 2], position


@pytest.mark.parametrize(
    ("tilt", "azimuth", "k1"), [(0.5, 0, 0.0), (20, 30, 0.03), (38, -20, -0.04), (30, 170, 0.06)]
)
def test_lattice_is_found_in_noisy_peaks_with_false_ones(tilt: float, azimuth: float, k1: float) -> None:
    rng = np.random.default_rng(4)
    centre, focal = np.array([1008.0, 756.0]), 1500.0
    h, _ = _camera(tilt, azimuth, 16, focal, centre)
    cells = np.array([(x, y) for x in range(10) for y in range(7) if (x * 7 + y * 3) % 5 < 3], float)
    frame = Frame((2016, 1512), h, (1008.0, 756.0), focal, k1, 0.0, np.zeros((4, 2)))
    at = frame.to_photo(cells + 0.5) + rng.normal(size=(len(cells), 2)) * 1.5
    right = frame.to_photo(cells + np.array([1.0, 0.5])) - frame.to_photo(cells + np.array([0.0, 0.5]))
    down = frame.to_photo(cells + np.array([0.5, 1.0])) - frame.to_photo(cells + np.array([0.5, 0.0]))
    false = rng.uniform(0, 1500, size=(6, 2))
    at = np.r_[at, false]
    right, down = np.r_[right, right[:6]], np.r_[down, down[:6]]
    lattice = fit(at, np.r_[np.ones(len(cells)), np.full(6, 0.4)], right, down, centre, focal)
    assert lattice is not None
    shift = cells[lattice.index[lattice.index < len(cells)]] - lattice.cells[lattice.index < len(cells)]
    assert (shift == shift[0]).all() and len(shift) >= len(cells) - 1
    assert lattice.residual < 0.04


@pytest.mark.parametrize(
    ("seen_focal", "told", "aside", "most"),
    [(1.0, True, 0.0, 0.15), (1.15, False, 0.0, 0.15), (1.0, True, 0.08, 0.25)],
)
def test_five_cubes_are_enough_to_place_the_far_end_of_the_plate(
    seen_focal: float, told: bool, aside: float, most: float
) -> None:
    """Wide angle, steps judged a sixth too short, a focal length not told, a picture cut on one side."""
    rng = np.random.default_rng(11)
    size, focal = np.array([2016.0, 1512.0]), 1250.0
    centre = size / 2 + np.array([aside * 2016, 0])
    h, _ = _camera(24, 15, 8, focal * seen_focal, centre)
    frame = Frame((2016, 1512), h, tuple(centre), focal * seen_focal, 0.04, 0.0, np.zeros((4, 2)))
    cells = np.array([(3, 2), (4, 2), (5, 2), (3, 3), (6, 3)], float)
    at = frame.to_photo(cells + 0.5) + rng.normal(size=(5, 2)) * 1.5
    right = frame.to_photo(cells + np.array([1.0, 0.5])) - frame.to_photo(cells + np.array([0.0, 0.5]))
    down = frame.to_photo(cells + np.array([0.5, 1.0])) - frame.to_photo(cells + np.array([0.5, 0.0]))
    lattice = fit(at, np.full(5, 0.8), right * 0.84, down * 0.84, size / 2, focal, told)
    assert lattice is not None and len(lattice.index) == 5
    shift = cells[lattice.index] - lattice.cells
    assert (shift == shift[0]).all()
    camera = lattice.camera
    found = Frame(
        (2016, 1512), camera.tops, tuple(camera.centre), camera.focal, camera.k1, 0.0, np.zeros((4, 2))
    )
    far = np.array([(2.0, 1.0), (8.0, 1.0), (8.0, 5.0), (2.0, 5.0)])  # two cells beyond the cubes
    off = found.to_photo(far - shift[0]) - frame.to_photo(far)
    assert np.hypot(*off.T).max() < most * np.hypot(*right[0])


def test_undistort_undoes_to_photo() -> None:
    frame = Frame(
        (2000, 1500), np.diag([100.0, 100.0, 1.0]), (1000.0, 750.0), 1500.0, 0.05, 0.0, np.zeros((4, 2))
    )
    p = np.array([[1.0, 2.0], [10.0, 7.0], [19.0, 14.0]])
    back = undistort(frame.to_photo(p), np.array([1000.0, 750.0]), 1500.0, 0.05)
    assert np.abs(back - p * 100).max() < 0.05


def test_homography_maps_exactly_and_refuses_a_line() -> None:
    h = np.array([[90, 8, 200], [-5, 85, 300], [1e-4, -2e-4, 1.0]])
    cells = np.array([(0, 0), (5, 0), (5, 4), (0, 4), (2, 3)], float)
    got = homography(cells, apply(h, cells))
    assert got is not None and np.abs(got - h).max() < 1e-6
    assert (
        homography(
            np.array([(0, 0), (1, 0), (2, 0), (3, 0)], float),
            np.array([(0, 0), (9, 0), (18, 0), (27, 0)], float),
        )
        is None
    )


@pytest.mark.parametrize(
    ("columns", "rows", "margin", "cube", "markers"),
    [
        (10, 7, 0.2, 0.7, False),
        (14, 9, 0.45, 0.95, False),
        (10, 7, 0.95, 0.6, True),
        (6, 5, 0.08, 0.52, False),
    ],
)
@pytest.mark.parametrize("tilt", [1.0, 15.0, 33.0])
def test_columns_and_rows_from_the_plate_seen_below_the_tops(
    columns: int, rows: int, margin: float, cube: float, markers: bool, tilt: float
) -> None:
    centre = np.array([1008.0, 756.0])
    h, position = _camera(tilt, 10, 15, 1550.0, centre)
    foot, high = first_camera(h, centre, 1550.0).foot
    assert np.abs(foot - position[:2]).max() < 1e-6 and abs(high - position[2]) < 1e-6
    ox, oy = 1, -1
    rect = np.array([ox - margin, oy - margin, ox + columns + margin, oy + rows + margin])
    s = high / (high + cube)
    seen = np.r_[foot + (rect[:2] - foot) * s, foot + (rect[2:] - foot) * s]
    cells = np.array([(ox, oy), (ox + columns - 1, oy + 2), (ox + 2, oy + rows - 1)])
    best = explain(seen + np.array([0.02, -0.02, 0.01, 0.02]), foot, high, cells, np.ones(3), markers)[0]
    assert best[1:5] == (columns, rows, ox, oy)


def test_peaks_are_found_between_pixels() -> None:
    y, x = np.mgrid[0:40, 0:50]
    prob = np.exp(-((x - 20.3) ** 2 + (y - 11.7) ** 2) / (2 * 1.5**2))
    found = peaks(prob.astype(np.float32), 4.0, 0.3)
    assert len(found.at) == 1
    assert np.abs((found.at[0] + 0.5) / 4 - 0.5 - (20.3, 11.7)).max() < 0.05


def test_print_decoding_sums_over_alignments() -> None:
    letters = names()[1]
    row = lambda **p: np.array([p.get("blank", 0.0), *(p.get(f"c{i}", 0.0) for i in range(len(letters)))])  # noqa: E731
    k = {c: f"c{i}" for i, c in enumerate(letters)}
    # 4 4 blank k 7 7: repeats fold, a blank keeps apart
    prob = np.stack([row(**{k["4"]: 0.9, "blank": 0.1}), row(**{k["4"]: 0.8, "blank": 0.2}), row(blank=1.0), row(**{k["k"]: 1.0}), row(**{k["7"]: 0.6, k["1"]: 0.4}), row(blank=1.0)])  # fmt: skip  # noqa: E501
    (line,) = decode([prob])
    assert line.text == "4k7"
    assert line.confidence == pytest.approx((1 - 0.1 * 0.2) * 0.6, abs=1e-6)
    assert line.rivals[0][0] == "4k1"
    (twice,) = decode([np.stack([row(**{k["1"]: 1.0}), row(blank=1.0), row(**{k["1"]: 1.0})])])
    assert twice.text == "11" and twice.confidence == pytest.approx(1.0)


def _one_line(prob: np.ndarray, width: int = 12) -> dict[tuple[int, ...], float]:
    """Prefix beam search as it is written down: one line, one beginning and one letter after the other."""
    beams = {(): (1.0, 0.0)}
    for row in prob:
        new: dict[tuple[int, ...], tuple[float, float]] = {}
        for text, (blank, letter) in beams.items():
            for c in np.flatnonzero(row > 1e-4).tolist():
                p, longer = float(row[c]), (*text, c)
                a, b = new.get(text, (0.0, 0.0))
                if c == 0:
                    new[text] = (a + (blank + letter) * p, b)
                    continue
                if text and text[-1] == c:
                    new[text] = (a, b + letter * p)
                a, b = new.get(longer, (0.0, 0.0))
                new[longer] = (a, b + (blank if text and text[-1] == c else blank + letter) * p)
        beams = dict(sorted(new.items(), key=lambda kv: -sum(kv[1]))[:width])
    return {text: sum(p) for text, p in beams.items()}


@pytest.mark.parametrize("letters", [2, 4, 73])
def test_many_lines_at_a_time_are_read_as_each_by_itself(letters: int) -> None:
    """Lines of all lengths, with few letters, too, so that beginnings meet again; some places are blank."""
    rng = np.random.default_rng(4)
    lines = []
    for frames, sharp in [(1, 1), (9, 2), (14, 3), (14, 1), (20, 4), (5, 2)]:
        said = np.exp(sharp * rng.normal(size=(frames, letters)))
        said[rng.random(frames) < 0.3, 0] *= 1e6
        lines.append((said / said.sum(1, keepdims=True)).astype(np.float32))
    for line, ranked in zip(lines, best_readings(lines), strict=True):
        by_itself = _one_line(line)
        assert {tuple(text) for text, p in ranked if p > 1e-9} == {
            t for t, p in by_itself.items() if p > 1e-9
        }
        assert all(p == pytest.approx(by_itself[tuple(text)], rel=1e-12) for text, p in ranked)
        assert [p for _, p in ranked] == sorted((p for _, p in ranked), reverse=True)
    assert best_readings([]) == []

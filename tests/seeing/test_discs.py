"""Discs by votes: on drawn discs of known place, beside general libraries, on a photograph."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from skimage.data import coins
from skimage.feature import canny
from skimage.transform import hough_circle, hough_circle_peaks

from lessonkit.seeing.discs import (
    Disc,
    all_round,
    disc_kernel,
    edges_of,
    faint_discs,
    find_discs,
    gaps_in_racks,
    votes,
)
from lessonkit.seeing.sampling import Sighting

CLOTH = (90, 140, 20)
COLOURS = [(230, 230, 230), (40, 40, 200), (30, 30, 30), (20, 200, 230), (170, 60, 40), (30, 110, 240)]


def drawn(
    centres: list[tuple[float, float]], radius: float, seed: int = 0
) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """Discs with soft rims on noisy green, and which pixels are not cloth."""
    rng = np.random.default_rng(seed)
    yy, xx = np.mgrid[0:160, 0:240]
    picture = np.full((160, 240, 3), CLOTH, float)
    foreign = np.zeros((160, 240), np.float32)
    for k, (x, y) in enumerate(centres):
        cover = np.clip(radius + 0.5 - np.hypot(xx - x, yy - y), 0, 1)
        picture += cover[..., None] * (np.array(COLOURS[k % 6]) - picture)
        foreign = np.maximum(foreign, (cover > 0.5).astype(np.float32))
    noisy = picture + rng.normal(0, 2.5, picture.shape)
    return np.clip(np.round(noisy), 0, 255).astype(np.uint8), foreign


def off(found: list[Disc], x: float, y: float) -> float:
    """Distance of the nearest find."""
    return min((float(np.hypot(d.x_px - x, d.y_px - y)) for d in found), default=np.inf)


PLACE = st.tuples(st.floats(15, 225), st.floats(15, 145))


@settings(max_examples=50, deadline=None)
@given(st.lists(PLACE, min_size=0, max_size=8), st.floats(7.5, 10.5), st.integers(0, 9))
def test_lone_discs(places: list[tuple[float, float]], radius: float, seed: int) -> None:
    """Discs anywhere, apart by at least a quarter of a ball: all found within half a pixel, and nothing else."""
    centres: list[tuple[float, float]] = []
    for p in places:
        if all(np.hypot(p[0] - c[0], p[1] - c[1]) > 2.5 * radius for c in centres):
            centres.append(p)
    found = find_discs(*drawn(centres, radius, seed), radius)
    assert len(found) == len(centres)
    assert all(off(found, *c) < 0.5 for c in centres)


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 2 * np.pi), st.floats(7.5, 10.5), st.integers(2, 4), st.floats(-0.5, 0.5))
def test_touching_discs(angle: float, radius: float, count: int, part: float) -> None:
    """A row of touching discs at any angle: all found, each within half a pixel."""
    step = 2 * radius * np.array([np.cos(angle), np.sin(angle)])
    centres = [tuple(np.array([120 + part, 80 - part]) + (k - (count - 1) / 2) * step) for k in range(count)]
    found = find_discs(*drawn(centres, radius), radius)
    assert len(found) == count
    assert all(off(found, *c) < 0.5 for c in centres)


def test_a_whole_rack() -> None:
    """Fifteen touching discs in a triangle: fifteen found, the worst within 0.8 px."""
    r = 9.0
    centres = [
        (80 + row * r * np.sqrt(3), 80 + (2 * i - row) * r) for row in range(5) for i in range(row + 1)
    ]
    found = find_discs(*drawn(centres, r), r)
    assert len(found) == 15
    assert max(off(found, *c) for c in centres) < 0.8


@pytest.mark.parametrize("angle", np.arange(0, 360, 45))
def test_half_hidden_discs(angle: int) -> None:
    """A straight edge of cloth's colour over one half of a disc, from any side: still found, within a pixel."""
    picture, foreign = drawn([(120.3, 80.6)], 9.0)
    yy, xx = np.mgrid[0:160, 0:240]
    a = np.radians(angle)
    hidden = (xx - 120.3) * np.cos(a) + (yy - 80.6) * np.sin(a) > 0
    picture[hidden], foreign[hidden] = CLOTH, 0
    assert off(find_discs(picture, foreign, 9.0, least_votes=0.25, least_fill=0.3), 120.3, 80.6) < 1.0


@settings(max_examples=20, deadline=None)
@given(st.lists(PLACE, min_size=1, max_size=5), st.integers(0, 9))
def test_agrees_with_opencvs_circles(places: list[tuple[float, float]], seed: int) -> None:
    """Where OpenCV's HoughCircles sees isolated circles of the radius, there is a find, within 1.5 px (HoughCircles
    itself is good to about a pixel)."""
    centres: list[tuple[float, float]] = []
    for p in places:
        if all(np.hypot(p[0] - c[0], p[1] - c[1]) > 40 for c in centres):
            centres.append(p)
    picture, foreign = drawn(centres, 9.0, seed)
    # one grey in which no disc has the cloth's own brightness
    contrast = np.abs(picture.astype(int) - CLOTH).max(2).astype(np.uint8)
    circles = cv2.HoughCircles(
        contrast, cv2.HOUGH_GRADIENT, 1, 25, param1=120, param2=9, minRadius=7, maxRadius=11
    )
    assert circles is not None
    found = find_discs(picture, foreign, 9.0)
    theirs = [
        (x, y) for x, y, _ in circles.reshape(-1, 3) if min(np.hypot(x - c[0], y - c[1]) for c in centres) < 4
    ]
    assert theirs
    assert all(off(found, x, y) < 1.5 for x, y in theirs)


def test_every_coin_of_a_photograph() -> None:
    """The photograph of Greek coins from Pompeii that scikit-image carries (`skimage.data.coins`, from the Brooklyn
    Museum's collection): the circle that scikit-image's own transform finds best about each of these coins has a peak
    of our votes for its radius within 3 px (coins are not quite round)."""
    picture = coins()
    radii = np.arange(18, 32)
    agreeing = 0
    for y, x in [(30, 40), (40, 105), (45, 160), (50, 220), (45, 270), (45, 330)]:
        part = picture[max(0, y - 42) : y + 42, max(0, x - 42) : x + 42]
        _, cx, cy, r = hough_circle_peaks(
            hough_circle(canny(part, 3, 10, 50), radii), radii, total_num_peaks=1
        )
        if not len(r):
            continue
        ballot = votes(np.dstack([part] * 3), float(r[0]))
        py, px = np.unravel_index(int(ballot.argmax()), ballot.shape)
        agreeing += bool(np.hypot(px - cx[0], py - cy[0]) <= 3)
    assert agreeing >= 5


def test_a_white_square_and_a_line_are_no_discs() -> None:
    """A chalk cube's square of a ball's area and a cue's straight edge gather no disc's votes."""
    picture, foreign = drawn([], 9.0)
    for x0, y0, x1, y1 in ((40, 40, 56, 56), (100, 20, 230, 26)):
        picture[y0:y1, x0:x1], foreign[y0:y1, x0:x1] = (240, 230, 220), 1
    assert all(d.votes < 0.75 for d in find_discs(picture, foreign, 9.0))
    assert all(d.x_px < 70 for d in find_discs(picture, foreign, 9.0))


@settings(max_examples=30, deadline=None)
@given(st.floats(4.0, 20.0))
def test_the_disc_kernel_is_a_disc(radius: float) -> None:
    """It sums to 1 and its second moment is that of a disc whose rim falls off over one pixel: for rims spread evenly
    by u in ±1/2, E[(R + u)^4] / (2 E[(R + u)²]) (elementary), within 4 %."""
    k = disc_kernel(radius)
    n = k.shape[0] // 2
    yy, xx = np.mgrid[-n : n + 1, -n : n + 1]
    wanted = (radius**4 + radius**2 / 2 + 1 / 80) / (2 * (radius**2 + 1 / 12))
    assert k.sum() == pytest.approx(1.0, abs=1e-5)
    assert (k * (xx**2 + yy**2)).sum() == pytest.approx(wanted, rel=0.04)


@settings(max_examples=40, deadline=None)
@given(st.floats(-np.pi, np.pi), st.integers(0, 2), st.booleans())
def test_a_ball_in_the_midst_of_a_rack_is_not_lost(turn: float, missing: int, filled: bool) -> None:
    """A rack of ten turned any way: the ball in its midst is put back if something lies there, and nothing else is."""
    radius = 9.0
    rows = [(r * np.sqrt(3) * radius, (2 * i - r) * radius) for r in range(4) for i in range(r + 1)]
    at = np.array([complex(x, y) for x, y in rows])
    at = (at - at[4]) * np.exp(1j * turn) + complex(120, 80)
    _, foreign = drawn([(z.real, z.imag) for k, z in enumerate(at) if filled or k != 4], radius)
    gone = {4, (0, 6, 9)[missing]}  # the middle, and a corner of which nothing can be told
    discs = [Disc(float(z.real), float(z.imag), 0.9, 1.0) for k, z in enumerate(at) if k not in gone]
    found = gaps_in_racks(discs, foreign, radius)
    assert len(found) == (1 if filled else 0)
    assert all(off([d], 120, 80) < 0.5 for d in found)
    assert gaps_in_racks([*discs, Disc(120.0, 80.0, 0.5, 1.0)], foreign, radius) == []


@pytest.mark.parametrize("filled", [True, False])
def test_a_ball_in_a_racks_outer_row_is_put_back(filled: bool) -> None:
    """Two discs of its row and two of the next touch the place: a ball if it is filled, nothing where cloth shows."""
    radius, step = 9.0, 18.0
    row = [120.0 + step * k + 60.0j for k in range(-1, 2)]
    inner = [120.0 + step * (k - 0.5) + (60.0 + step * np.sqrt(3) / 2) * 1j for k in range(2)]
    at = [*row, *inner]
    _, foreign = drawn([(z.real, z.imag) for k, z in enumerate(at) if filled or k != 1], radius)
    discs = [Disc(z.real, z.imag, 0.9, 1.0) for k, z in enumerate(at) if k != 1]
    found = gaps_in_racks(discs, foreign, radius)
    assert [(round(d.x_px), round(d.y_px)) for d in found] == ([(120, 60)] if filled else [])
    assert gaps_in_racks(discs[:-1], foreign, radius) == []


def in_cloths_colour(rng: np.random.Generator, x: float, y: float, radius: float) -> NDArray[np.uint8]:
    """A ball hardly to be told from cloth: darker towards its rim, as spheres in the light of one lamp are."""
    yy, xx = np.mgrid[0:160, 0:240]
    away = np.hypot(xx - x, yy - y) / radius
    shade = np.where(away < 1, 1.03 - 0.25 * np.clip(away, 0, 1) ** 3, 1.0)
    picture = np.array(CLOTH) * cv2.GaussianBlur(shade, (0, 0), 0.6)[..., None]
    return np.clip(np.round(picture + rng.normal(0, 0.7, picture.shape)), 0, 255).astype(np.uint8)


@pytest.mark.parametrize(("x", "y"), [(60.0, 50.0), (120.4, 80.7), (180.5, 110.2)])
def test_a_ball_of_the_cloths_colour(x: float, y: float) -> None:
    """Its edges are too weak to vote with others; with those of its kind it is found, and only where something is."""
    radius = 9.0
    picture = in_cloths_colour(np.random.default_rng(3), x, y, radius)
    yy, xx = np.mgrid[0:160, 0:240]
    foreign = ((np.hypot(xx - x, yy - y) < radius) * 0.6).astype(np.float32)
    assert find_discs(picture, foreign, radius) == []
    (disc,) = faint_discs(picture, foreign, radius, [])
    assert np.hypot(disc.x_px - x, disc.y_px - y) < 0.7
    assert faint_discs(picture, np.zeros_like(foreign), radius, []) == []
    assert faint_discs(picture, foreign, radius, [disc]) == []


@pytest.mark.parametrize("turn_deg", [0.0, 20.0, 45.0])
def test_two_lines_a_ball_apart_are_no_ball(turn_deg: float) -> None:
    """Such as a cue's: they vote for the middle between them, but not from all round, as a ball's outline does."""
    radius = 9.0
    yy, xx = np.mgrid[0:160, 0:240]
    t = np.radians(turn_deg)
    across = np.abs((yy - 80.0) * np.cos(t) - (xx - 120.0) * np.sin(t))
    for inside, whole in ((across < radius, False), (np.hypot(xx - 120.0, yy - 80.0) < radius, True)):
        picture = np.where(inside[..., None], np.array(CLOTH) * 0.8, np.array(CLOTH)).astype(np.uint8)
        share = all_round(edges_of(cv2.GaussianBlur(picture, (0, 0), 0.6), None, 0.35), radius, 120.0, 80.0)
        assert share == 1.0 if whole else share < 0.6
        found = faint_discs(picture, inside.astype(np.float32), radius, [])
        assert bool(found) == whole


@pytest.mark.parametrize(
    ("votes", "fill", "clear", "alone"),
    [
        (1.6, 1.0, 0.5, True),
        (0.5, 1.0, 0.65, True),
        (0.5, 1.0, 0.5, False),
        (0.34, 0.53, 0.98, True),
        (0.34, 0.53, 0.64, False),
    ],
)
def test_the_less_of_a_disc_the_more_bare_table_about_it(
    votes: float, fill: float, clear: float, alone: bool
) -> None:
    """A whole outline is a ball's though half of what lies about it is covered; of half an outline, half filled, so much
    must be bare as where no person is near: the gap between an arm and a cue has as much of a ball."""
    assert Sighting((0.0, 0.0), votes, fill, clear, None).alone is alone

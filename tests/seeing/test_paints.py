"""Paints under lamps and cameras: burnt out pictures, traces at a rim, the two balls of one paint."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from skimage.color import lab2rgb

from lessonkit.seeing.cloth import LINEAR
from lessonkit.seeing.identities import name_strings
from lessonkit.seeing.looks import Close, Look, falloff, look, white_point
from lessonkit.seeing.numbers import PARTNER, _exchanged, _settle, _total, fits, pair_costs
from lessonkit.seeing.paints import COLOURS, GAINS, PLAIN, Tone, coded, light_of, paint_light
from lessonkit.seeing.slivers import _left, slivers
from tests.scenes.look import BALLS, CLOTHS, Rgb

Floats = NDArray[np.float64]
WHITE = LINEAR[np.array([225, 232, 236], np.uint8)].astype(float)
LIKE_CLOTH = (("green", 14), ("blue", 10))
"""Paint of the cloth's own colour cannot be told from it at a rim."""
SIZE = 41
_A = np.arange(-(SIZE // 2), SIZE // 2 + 1) / (SIZE / 3.4)
GX, GY = np.meshgrid(_A, _A)
RADIUS = np.hypot(GX, GY).astype(np.float32)


def linear(rgb: Rgb) -> Floats:
    """Linear light, blue-green-red, of 8-bit sRGB."""
    return LINEAR[np.array(rgb[::-1]).astype(np.uint8)].astype(float)


def drawn(number: int, tilt_deg: float = 90.0, cloth: Rgb = CLOTHS["green"], gain: float = 1.0) -> Close:
    """A close look at a ball on cloth, softened, darker towards its rim; a stripe's axis leans `tilt_deg` off the line of
    sight; light times `gain` is cut off where the camera cannot tell it."""
    import cv2

    gz = np.sqrt(np.clip(1 - RADIUS**2, 0, None))
    along = np.abs(GX * np.sin(np.radians(tilt_deg)) + gz * np.cos(np.radians(tilt_deg)))
    paint = linear(BALLS[number if number <= 8 else number - 8])
    colour = (
        np.where((along > 0.5)[..., None], WHITE, paint) if number > 8 else np.tile(paint, (SIZE, SIZE, 1))
    )
    light = np.where((RADIUS < 1)[..., None], colour * falloff(RADIUS)[..., None], linear(cloth))
    soft = cv2.GaussianBlur((gain * light).astype(np.float32), (0, 0), 1.2)
    return Close(np.minimum(soft, 1.0), RADIUS, 1.0)


def named_of(closes: dict[int, Close]) -> dict[int, int]:
    """Number given to each drawn ball, the cue ball known."""
    white = white_point(list(closes.values()))
    looks = {n: look(c, white, 8) for n, c in closes.items()}
    heads = list(looks)
    got = name_strings(range(16), looks, [heads], {0} if 0 in looks else set())
    return {n: got[n].number for n in heads}


@settings(max_examples=60, deadline=None)
@given(st.floats(5, 95), st.floats(-30, 30), st.floats(-30, 30))
def test_light_of_lab_is_the_standards(lightness: float, a: float, b: float) -> None:
    """CIELAB is turned back into sRGB as scikit-image's lab2rgb (D65) does it, to half a grey level of 255."""
    lab = np.array([lightness, a, b])
    assert coded(light_of(lab)) == pytest.approx(lab2rgb(lab.reshape(1, 1, 3))[0, 0], abs=0.5 / 255)


@pytest.mark.parametrize("gain", [1.0, 1.8, 2.6])
@pytest.mark.parametrize("left_out", [(), (3, 11), (7, 8), (1, 9, 12)])
def test_an_overexposed_set_is_named(gain: float, left_out: tuple[int, ...]) -> None:
    """Where white is burnt out maroon is as light as red should be and orange turns to yellow, alike on all balls; each keeps
    its number, balls missing too."""
    closes = {n: drawn(n, gain=gain) for n in range(16) if n not in left_out}
    assert named_of(closes) == {n: n for n in closes}


@pytest.mark.parametrize(
    ("cloth", "number"),
    [
        (c, n)
        for c in ("green", "blue", "tan", "grey")
        for n in (9, 10, 11, 12, 14)
        if (c, n) not in LIKE_CLOTH
    ],
)
def test_a_trace_of_paint_at_a_white_rim_tells(cloth: str, number: int) -> None:
    """A stripe seen a few degrees off its axis shows a ring of paint, run into white and cloth; no paint fits it
    clearly better than its own, and it speaks against the cue ball, whose own rim fits as well without paint as with any."""
    stripe, cue = drawn(number, 8.0, CLOTHS[cloth]), drawn(0, cloth=CLOTHS[cloth])
    of_stripe = slivers(np.asarray(stripe.light / WHITE, np.float32), RADIUS)
    of_cue = slivers(np.asarray(cue.light / WHITE, np.float32), RADIUS)
    assert of_stripe is not None and of_cue is not None
    assert of_stripe[0, number - 9] < of_stripe[0].min() + 1.0
    assert np.sum(of_stripe[0, :7] < of_stripe[0, number - 9] + 5.0) <= 2
    assert of_stripe[0, 8] - of_stripe[0].min() > of_cue[0, 8] - of_cue[0].min() + 10.0


def test_no_rim_tells_nothing() -> None:
    """A ball two pixels wide has no rim that could be judged."""
    assert slivers(np.ones((3, 3, 3), np.float32), np.full((3, 3), 0.6, np.float32)) is None


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**31))
def test_no_mixture_comes_nearer(seed: int) -> None:
    """The rest that is left is that of SciPy's non-negative least squares (Lawson & Hanson)."""
    from scipy.optimize import nnls

    rng = np.random.default_rng(seed)
    made, target = rng.uniform(0, 1, (5, 4, 3)), rng.uniform(-0.3, 1, (5, 4))
    assert _left(made, target) == pytest.approx(
        [nnls(m, t)[1] ** 2 for m, t in zip(made, target, strict=True)], abs=1e-6
    )


def colour(paint: int, lightness: float = 0.0, turned_deg: float = 0.0, stripe: bool = False) -> Look:
    """A look at a ball whose paint is lighter than the standard, and turned in hue."""
    L, a, b = COLOURS[paint]
    t = np.radians(turned_deg)
    lab = (L + lightness, a * np.cos(t) - b * np.sin(t), a * np.sin(t) + b * np.cos(t))
    return Look(0.4, 0.5, lab, 2.8) if stripe else Look(0.05, 0.05, lab, 2.8)


def test_balls_of_one_paint_look_alike() -> None:
    """In a set with a light brownish maroon and a dark red the stripe that looks like the maroon solid is the 15, though by
    itself it is as near to the standard red; with the solids gone it is in doubt."""
    maroon = {"lightness": 7.5, "turned_deg": 6.0}
    red = {"lightness": -7.0, "turned_deg": 2.0}
    looks = {
        0: Look(1.0, 1.0, None, 2.8),
        1: colour(1), 2: colour(2), 5: colour(5), 6: colour(6),
        3: colour(3, **red), 7: colour(7, **maroon), 15: colour(7, **maroon, stripe=True),
    }  # fmt: skip
    got = name_strings(range(16), looks, [list(looks)], {0})
    assert {n: got[n].number for n in looks} == {n: n for n in looks}
    alone = {n: k for n, k in looks.items() if n not in (3, 7)}
    assert name_strings(range(16), alone, [list(alone)], {0})[15].confidence < got[15].confidence


def test_likeness_counts_for_pairs_and_unlikeness_against() -> None:
    """Two looks off their paint alike cost less as its two balls than two off it to opposite sides, and where little colour is
    told neither matters."""
    tones = (PLAIN,)
    light, dark = fits(colour(3, 8.0), tones), fits(colour(3, -8.0, stripe=True), tones)
    alike = fits(colour(3, 8.0, stripe=True), tones)
    assert pair_costs([light, alike])[0, 3, 0, 1] < 0 < pair_costs([light, dark])[0, 3, 0, 1]
    untold = [replace(f, told=0.0) for f in (light, dark)]
    assert pair_costs(untold) == pytest.approx(0.0)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**31), st.integers(1, 16))
def test_no_exchange_of_two_numbers_costs_less(seed: int, balls: int) -> None:
    """What an exchange is said to change is what it changes, and when none is left that lowers the cost the search ends."""
    rng = np.random.default_rng(seed)
    c = np.concatenate([rng.uniform(0, 8, (2, balls, 16)), np.zeros((2, 1, 16))], 1)
    q = np.zeros((2, 8, balls + 1, balls + 1))
    some = rng.normal(0, 2, (2, 7, balls, balls))
    q[:, 1:, :balls, :balls] = some + some.swapaxes(-1, -2)
    start = np.full((2, 16), balls)
    for row in start:
        row[rng.permutation(16)[:balls]] = np.arange(balls)
    said = _exchanged(c, q, start)
    for k, n, m in itertools.product((0, 1), (0, 3, 8, 11), (5, 12, 13)):
        other = start[k].copy()
        other[[n, m]] = other[[m, n]]
        assert said[k, n, m] == pytest.approx(_total(c[k], q[k], other) - _total(c[k], q[k], start[k]))
    end = _settle(c, q, start)
    assert _exchanged(c, q, end).min() > -1e-6
    assert all(_total(c[k], q[k], end[k]) <= _total(c[k], q[k], start[k]) + 1e-9 for k in (0, 1))


def test_partners_have_one_paint() -> None:
    """The partner of a partner is the ball itself, eight apart; neither the cue ball nor the 8 has one."""
    assert all(PARTNER[PARTNER[n]] == n and abs(PARTNER[n] - n) == 8 for n in range(16) if n not in (0, 8))
    assert all(c.cost(burnt=True) <= c.cost() for c in (Tone(gain=g) for g in GAINS))
    assert np.all(np.diff(paint_light(GAINS), axis=0) >= 0)

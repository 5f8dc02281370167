"""Looks to numbers: colours against published CIELAB, assignment against a general library and worked examples."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from skimage.color import rgb2lab

from lessonkit.model import Table
from lessonkit.seeing.calibration import honest
from lessonkit.seeing.centres import outline_mm
from lessonkit.seeing.cloth import LINEAR
from lessonkit.seeing.identities import name_strings
from lessonkit.seeing.looks import Close, Look, lab_of, look, radii, white_point
from lessonkit.seeing.numbers import DOUBT_BELOW, assign, cost, costs
from tests.scenes import View, make_camera
from tests.scenes.look import BALLS

FACTS = tomllib.loads((Path(__file__).parents[2] / "shared" / "seeing.toml").read_text(encoding="utf-8"))
RGB = st.tuples(st.integers(0, 255), st.integers(0, 255), st.integers(0, 255))


def lab(rgb: tuple[int, int, int]) -> NDArray[np.float32]:
    """CIELAB of one 8-bit colour by our own means."""
    return lab_of(LINEAR[np.array(rgb[::-1], np.uint8)].reshape(1, 1, 3), np.ones(3))[0, 0]


@pytest.mark.parametrize("case", FACTS["cielab"]["cases"])
def test_lab_is_that_of_the_standard(case: dict[str, Any]) -> None:
    """CIELAB of 8-bit sRGB (IEC 61966-2-1 with CIE 15; shared/seeing.toml [cielab]), to twice what libraries differ by,
    and OpenCV's own rounding of its table in a float (0.15)."""
    assert lab(tuple(case["rgb"])) == pytest.approx(case["lab"], abs=2 * FACTS["cielab"]["tolerance"] + 0.15)


@settings(max_examples=60, deadline=None)
@given(RGB)
def test_lab_agrees_with_scikit_image(rgb: tuple[int, int, int]) -> None:
    """Any colour comes out as scikit-image's rgb2lab has it, within half a unit: a just visible difference is about 1."""
    assert lab(rgb) == pytest.approx(rgb2lab(np.array(rgb, np.uint8).reshape(1, 1, 3))[0, 0], abs=0.5)


@settings(max_examples=40, deadline=None)
@given(RGB, st.floats(0.4, 1.0), st.floats(0.4, 1.0), st.floats(0.4, 1.0))
def test_a_coloured_lamp_is_taken_out(rgb: tuple[int, int, int], r: float, g: float, b: float) -> None:
    """Light and white scaled alike, channel by channel, are the same colour."""
    light = LINEAR[np.array(rgb[::-1], np.uint8)].reshape(1, 1, 3)
    lamp = np.array([b, g, r])
    got = lab_of((light * lamp).astype(np.float32), lamp)[0, 0]
    assert got == pytest.approx(lab(rgb), abs=0.3)


def close(
    rgb: tuple[float, float, float], band: float | None, lamp: NDArray[np.float64], n: int = 41
) -> Close:
    """A close look at a drawn ball: all of its colour, or white with a band that reaches `band` radii to both sides,
    and a small white number disc."""
    half = n // 2
    a = np.arange(-half, half + 1) / (n / 3.4)
    gx, gy = np.meshgrid(a, a)
    colour = LINEAR[np.array(rgb[::-1]).astype(np.uint8)]
    white = LINEAR[np.array([225, 232, 236], np.uint8)]
    light = np.tile(colour, (n, n, 1))
    if band is not None:
        light[np.abs(gy) > band] = white
    if rgb[:3] != BALLS[0]:
        light[np.hypot(gx, gy) < 0.22] = white
    return Close((light * lamp).astype(np.float32), np.hypot(gx, gy).astype(np.float32), 1.0)


@pytest.mark.parametrize("lamp", [(1.0, 1.0, 1.0), (0.62, 0.8, 0.95), (0.9, 0.75, 0.6)])
def test_a_whole_set_is_named(lamp: tuple[float, float, float]) -> None:
    """All sixteen balls, drawn in the colours of the WPA's words under neutral, warm and cold light, get their numbers,
    and none is doubtful by half."""
    light = np.array(lamp)
    drawn = {n: close(BALLS[n if n <= 8 else n - 8], None if n <= 8 else 0.5, light) for n in range(16)}
    white = white_point(list(drawn.values()))
    seen = np.array([costs([look(c, white, 8)]) for c in drawn.values()])
    named = assign(seen)
    assert [n.number for n in named] == list(drawn)
    assert min(n.confidence for n in named) > 0.5


@pytest.mark.parametrize("example", FACTS["assignment"])
def test_worked_assignments(example: dict[str, Any]) -> None:
    """Kuhn's problem on worked examples (shared/seeing.toml [[assignment]]); the other numbers cost far more."""
    small = np.array(example["costs"])
    c = np.full((len(small), 16), 50.0)
    c[:, : small.shape[1]] = small
    got = [n.number for n in assign(c)]
    assert got == example["columns"]
    assert c[np.arange(len(c)), got].sum() == pytest.approx(example["total"])


TABLES = st.integers(1, 16).flatmap(
    lambda n: st.lists(st.lists(st.floats(0, 30), min_size=16, max_size=16), min_size=n, max_size=n)
)


@settings(max_examples=60, deadline=None)
@given(TABLES)
def test_no_assignment_is_cheaper(table: list[list[float]]) -> None:
    """The total is that of SciPy's linear_sum_assignment, each number once."""
    c = np.array(table)
    got = [n.number for n in assign(c)]
    rows, columns = linear_sum_assignment(c)
    assert len(set(got)) == len(got)
    assert c[np.arange(len(c)), got].sum() == pytest.approx(c[rows, columns].sum())


@settings(max_examples=40, deadline=None)
@given(TABLES, st.data())
def test_a_struck_ball_keeps_its_number(table: list[list[float]], data: st.DataObject) -> None:
    """The ball that was struck is the cue ball whatever it looks like, and no other is."""
    held = data.draw(st.integers(0, len(table) - 1))
    got = [n.number for n in assign(np.array(table), {held: 0})]
    assert got[held] == 0 and got.count(0) == 1


@settings(max_examples=30, deadline=None)
@given(TABLES, st.randoms(use_true_random=False))
def test_the_order_of_the_balls_does_not_matter(table: list[list[float]], random: Any) -> None:
    """The likelihoods of a shuffled table are the shuffled likelihoods (where no two answers are equally good)."""
    c = np.array(table) + np.random.default_rng(0).uniform(0, 0.01, (len(table), 16))
    order = list(range(len(c)))
    random.shuffle(order)
    a, b = assign(c), assign(c[order])
    assert c[np.arange(len(c)), [n.number for n in a]].sum() == pytest.approx(
        c[order][np.arange(len(c)), [n.number for n in b]].sum()
    )
    same = [k for k, i in enumerate(order) if a[i].number == b[k].number]
    assert [b[k].confidence for k in same] == pytest.approx([a[order[k]].confidence for k in same], abs=1e-6)


def test_two_balls_of_one_colour() -> None:
    """Two balls that both look like the 3: the one that looks more like it is the 3, and the other takes a number near in
    colour; neither is said to be sure."""
    red = look_like(3)
    paler = Look(red.white, red.rim_white, (50.0, 60.0, 44.0), red.weight)
    named = assign(np.array([costs([paler]), costs([red])]))
    assert named[1].number == 3 and named[0].number != 3
    assert honest(named[0]).confidence < DOUBT_BELOW


def look_like(number: int) -> Look:
    """The look of a drawn ball."""
    drawn = close(BALLS[number if number <= 8 else number - 8], None if number <= 8 else 0.5, np.ones(3))
    return look(drawn, LINEAR[np.array([225, 232, 236], np.uint8)].astype(float), 8)


def test_stripe_and_solid_of_one_colour_are_told_apart() -> None:
    """The 1 and the 9, the 2 and the 10 and so on differ by their white alone."""
    for n in range(1, 8):
        assert cost(look_like(n), n) < cost(look_like(n), n + 8)
        assert cost(look_like(n + 8), n + 8) < cost(look_like(n + 8), n)


def test_more_balls_than_numbers() -> None:
    """A seventeenth thing gets no number and no confidence, and the sixteen balls keep theirs."""
    seen = [costs([look_like(n)]) for n in range(16)]
    seen.insert(5, np.full(16, 30.0))
    named = assign(np.array(seen))
    assert (named[5].number, named[5].confidence) == (-1, 0.0)
    assert [n.number for k, n in enumerate(named) if k != 5] == list(range(16))


def test_sights_that_agree_make_surer() -> None:
    """Seen four times a ball is not less sure than seen once, and a ball never seen closely tells nothing."""
    once, often = costs([look_like(6)]), costs([look_like(6)] * 4)
    assert np.ptp(often) >= np.ptp(once) and often.argmin() == once.argmin() == 6
    assert np.ptp(costs([])) == 0


@settings(max_examples=60, deadline=None)
@given(st.floats(0, 180), st.floats(0, 180), st.floats(0.45, 0.55))
def test_a_stripe_shows_white_near_its_rim_however_it_lies(
    tilt_deg: float, turn_deg: float, band: float
) -> None:
    """On a drawn sphere whose white caps begin `band` radii from its middle, no way of lying hides the white near the
    rim from a view from above, and a solid's number disc never shows as much of it."""
    n = 61
    a = np.linspace(-1.2, 1.2, n)
    gx, gy = np.meshgrid(a, a)
    r = np.hypot(gx, gy)
    gz = np.sqrt(np.clip(1 - r**2, 0, None))
    tilt, turn = np.radians([tilt_deg, turn_deg])
    axis = np.array([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)])
    along = gx * axis[0] + gy * axis[1] + gz * axis[2]
    red, white = (
        LINEAR[np.array(BALLS[3][::-1]).astype(np.uint8)],
        LINEAR[np.array([225, 232, 236], np.uint8)],
    )
    drawn = {
        "stripe": np.where((np.abs(along) > band)[..., None], white, red),
        "solid": np.where((along > np.cos(np.arcsin(0.32)))[..., None], white, red),
    }
    seen = {
        k: look(Close(v.astype(np.float32), r.astype(np.float32), 1.0), white.astype(float), 8)
        for k, v in drawn.items()
    }
    assert seen["stripe"].rim_white > seen["solid"].rim_white + 0.1
    assert cost(seen["solid"], 3) < cost(seen["solid"], 11)
    assert cost(seen["stripe"], 11) < cost(seen["stripe"], 3)


@pytest.mark.parametrize("chroma", [0.85, 1.0, 1.25, 1.45])
@pytest.mark.parametrize("lightness", [-4.0, 0.0, 8.0])
@pytest.mark.parametrize("left_out", [(), (3, 11), (7, 15), (1, 2, 9, 12)])
def test_a_camera_that_likes_strong_colours(
    chroma: float, lightness: float, left_out: tuple[int, ...]
) -> None:
    """A set whose colours all came out stronger or paler, lighter or darker, is named right, some balls missing too."""
    names = {}
    for n in range(1, 16):
        if n in left_out:
            continue
        plain = look_like(n)
        assert plain.lab is not None
        L, a, b = plain.lab
        names[n] = Look(plain.white, plain.rim_white, (L + lightness, a * chroma, b * chroma), plain.weight)
    looks = dict(enumerate(names.values()))
    got = name_strings(list(looks), looks, [list(looks)], set())
    assert [got[i].number for i in looks] == list(names)


def test_what_lay_beside_the_struck_ball_is_not_the_cue_ball_after_a_scratch() -> None:
    """A stripe seen along its axis is white all over. It lay on the table while the cue ball was played, so when that one
    has dropped it is still no cue ball; the one that is put back and struck is."""
    white = Look(1.0, 1.0, None, 2.0)
    red = Look(0.05, 0.05, tuple(float(x) for x in lab(BALLS[3])), 2.0)  # type: ignore[arg-type]
    looks = {0: white, 1: white, 2: red, 3: white}
    got = name_strings([0, 1, 2, 3], looks, [[0, 1, 2], [1, 2], [1, 2, 3], [2, 3]], {0, 3})
    assert got[0].number == got[3].number == 0
    assert got[1].number > 8
    assert got[2].number == 3


@pytest.mark.parametrize("tilt_deg", [0.0, 20.0, 38.0])
def test_how_far_out_on_a_slanting_ball(tilt_deg: float) -> None:
    """The outline of a ball through the full camera (OpenCV's projection in `table/camera.py`) lies at 1 all round, its
    middle at 0, and points half way out at a half, however slanting the view draws it out."""
    table = Table("9ft", 2540.0, 1270.0)
    camera = make_camera(View(tilt_deg=tilt_deg), table)
    outline = outline_mm(camera, table, (2300.0, 1100.0))
    mm_per_px, n = 0.5, 2 * round(1.7 * table.radius_mm / 0.5) + 1
    out = radii(outline, n, mm_per_px)
    for share in (1.0, 0.5):
        x, y = (
            ((outline.mean(0) + share * (outline - outline.mean(0))) / mm_per_px + n // 2)
            .round()
            .astype(int)
            .T
        )
        assert out[y, x] == pytest.approx(share, abs=0.02)
    x, y = (outline.mean(0) / mm_per_px + n // 2).round().astype(int)
    assert out[y, x] == pytest.approx(0.0, abs=0.02)

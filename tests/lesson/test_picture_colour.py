"""Pictures keep what is not drawn on, and colours are BT.709's: held against FFmpeg's converter."""

from __future__ import annotations

import tomllib
from pathlib import Path

import av
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.footage.reader import Frame
from lessonkit.lesson.picture import Cutout, Layer, Overlay, Picture

FACTS = tomllib.loads((Path(__file__).parents[2] / "shared" / "colour.toml").read_text())["bt709"]


def grey_noise(width: int, height: int, seed: int = 1) -> Picture:
    """A picture of random planes."""
    picture = Picture(width, height)
    picture.i420[:] = np.random.default_rng(seed).integers(20, 230, picture.i420.shape, np.uint8)
    return picture


def flat(bgr: tuple[int, int, int]) -> np.ndarray:
    """A picture of one colour."""
    return np.full((32, 48, 3), bgr, np.uint8)


def test_black_and_white_levels() -> None:
    """Source: ITU-R BT.709-6, studio range of 8 bits."""
    for level, colour in ((FACTS["black"], 0), (FACTS["white"], 255)):
        picture = Picture.from_bgr(flat((colour, colour, colour)))
        assert [int(p[4, 4]) for p in picture.planes] == level


@pytest.mark.parametrize("bgr", [(32, 30, 200), (200, 80, 30), (30, 180, 60), (0, 159, 230), (233, 180, 86)])
def test_colours_agree_with_ffmpeg(bgr: tuple[int, int, int]) -> None:
    """libswscale, told BT.709, gives the same Y, U and V within two levels, and reads ours back as the same colour."""
    picture = Picture.from_bgr(flat(bgr))
    frame = av.VideoFrame.from_ndarray(flat(bgr), format="bgr24")
    theirs = frame.reformat(format="yuv420p", dst_colorspace="ITU709", dst_color_range="MPEG").to_ndarray()
    assert np.abs(picture.i420.astype(int) - theirs).max() <= 2
    ours = av.VideoFrame.from_ndarray(picture.i420, format="yuv420p")
    back = ours.reformat(format="bgr24", src_colorspace="ITU709", src_color_range="MPEG").to_ndarray()
    assert np.abs(back.astype(int) - bgr).max() <= 4
    assert np.abs(picture.to_bgr().astype(int) - bgr).max() <= 3


def test_an_overlay_has_its_colour_on_the_picture() -> None:
    """A filled patch reads back as the colour it was filled with."""
    picture = grey_noise(64, 48)
    layer = Layer(64, 48)
    layer.fill(np.array([[10.0, 10], [50, 10], [50, 40], [10, 40]]), "#E69F00")
    picture.lay(layer.overlay())
    assert np.abs(picture.to_bgr()[14:36, 14:46].astype(int) - (0, 159, 230)).max() <= 4


@settings(max_examples=30, deadline=None)
@given(st.integers(4, 40), st.integers(4, 30), st.integers(2, 20), st.integers(2, 15), st.floats(0, 1))
def test_nothing_outside_the_box_changes(x: int, y: int, w: int, h: int, opacity: float) -> None:
    """Luma beyond the drawn patch and its soft edge stays bit for bit."""
    picture, before = grey_noise(64, 48), grey_noise(64, 48)
    layer = Layer(64, 48)
    layer.fill(np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]], float), "#FFFFFF")
    picture.lay(layer.overlay(), opacity=opacity)
    outside = np.ones((48, 64), bool)
    outside[max(0, y - 2) : y + h + 3, max(0, x - 2) : x + w + 3] = False
    assert np.array_equal(picture.y[outside], before.y[outside])
    assert np.array_equal(picture.u[-1], before.u[-1]) or y + h > 43


def test_half_opacity_lies_halfway() -> None:
    """Blending is linear in the planes."""
    picture = Picture.from_bgr(flat((0, 0, 0)))
    layer = Layer(48, 32)
    layer.fill(np.array([[4.0, 4], [40, 4], [40, 28], [4, 28]]), "#FFFFFF")
    picture.lay(layer.overlay(), opacity=0.5)
    assert abs(int(picture.y[16, 20]) - (16 + 235) / 2) <= 1


def test_a_ball_stands_in_front_of_a_line() -> None:
    """Inside the ball's outline the picture is as before; beside it the line shows."""
    picture, before = grey_noise(64, 48), grey_noise(64, 48)
    layer = Layer(64, 48)
    layer.lines([np.array([[2.0, 24.0], [62, 24]])], "#FFFFFF", 5)
    a = np.linspace(0, 2 * np.pi, 40)
    ball = Cutout.polygon(np.c_[32 + 9 * np.cos(a), 24 + 9 * np.sin(a)], 64, 48)
    assert ball is not None
    picture.lay(layer.overlay(), above=[ball])
    assert np.array_equal(picture.y[21:28, 27:37], before.y[21:28, 27:37])
    assert picture.y[24, 10] == 235


def test_a_layer_grown_in_parts_equals_one_drawn_at_once() -> None:
    """Updating boxes gives the same overlay as converting the whole."""
    layer = Layer(96, 64)
    part = Overlay((0, 0, 96, 64))
    for x in range(8, 80, 6):
        layer.lines([np.array([[x, 30.3], [x + 6.0, 31.1]])], "#E69F00", 4)
        part.update(layer.bgra, (x - 6, 22, x + 13, 40))
    whole = layer.overlay((0, 0, 96, 64))
    for a, b in zip([*part.colour, *part.cover], [*whole.colour, *whole.cover], strict=True):
        assert np.abs(a.astype(int) - b).max() <= 1


def test_an_untouched_frame_passes_bit_for_bit() -> None:
    """A BT.709 frame of the lesson's size is not converted at all."""
    source = grey_noise(64, 48)
    raw = av.VideoFrame.from_ndarray(source.i420, format="yuv420p")
    raw.colorspace, raw.color_range = 1, 1
    assert np.array_equal(Picture.from_frame(Frame(0.0, raw, 0), 64, 48).i420, source.i420)


def test_other_colour_spaces_become_bt709() -> None:
    """A BT.601 and a full-range frame come out as the colours that they meant."""
    for space, rng, name, range_name in ((5, 1, "ITU601", "MPEG"), (1, 2, "ITU709", "JPEG")):
        raw = av.VideoFrame.from_ndarray(flat((32, 30, 200)), format="bgr24").reformat(
            format="yuv420p", dst_colorspace=name, dst_color_range=range_name
        )
        raw.colorspace, raw.color_range = space, rng
        got = Picture.from_frame(Frame(0.0, raw, 0), 48, 32).to_bgr()[16, 20].astype(int)
        assert np.abs(got - (32, 30, 200)).max() <= 5

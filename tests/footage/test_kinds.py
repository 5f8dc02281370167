"""Clips of the kinds that phones and cameras write: colours, depths, rotations, offset starts, sound, damage.

PyAV's own conversion (FFmpeg's swscale) is the reference for colours.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from lessonkit.errors import FootageError
from lessonkit.footage.reader import OpenFootage, open_footage, probe

W, H = 96, 64
RATE_HZ = 48000


def smooth_picture(w: int = W, h: int = H, step: int = 0) -> NDArray[np.uint8]:
    """Every colour gently, with no two sides alike, so that a turn or a swap of channels shows."""
    y, x = np.mgrid[0:h, 0:w]
    r = 40 + 150 * x / w
    g = 200 - 140 * y / h
    b = 60 + 120 * (x / w) * (y / h)
    return np.clip(np.dstack([r, g, b]) + step, 0, 255).astype(np.uint8)


def write(
    path: Path, times_ms: Sequence[int], *, size: tuple[int, int] = (W, H), codec: str = "libx264", pix: str = "yuv420p",
    space: int | None = 1, full: bool = False, rotation: int = 0,
) -> Path:  # fmt: skip
    """Pictures at these times, in this coding; colour matrix by FFmpeg's number, None to leave it unsaid."""
    w, h = size
    with av.open(str(path), "w") as box:
        v: Any = box.add_stream(codec, rate=30)
        v.width, v.height, v.pix_fmt = w, h, pix
        v.codec_context.time_base = Fraction(1, 1000)
        v.options = {
            "crf": "6",
            "preset": "veryfast",
            **({"x265-params": "log-level=none"} if codec == "libx265" else {}),
        }
        if space is not None:
            v.codec_context.colorspace = space
        v.codec_context.color_range = 2 if full else 1
        if rotation:
            v.set_display_rotation(rotation)
        for k, t in enumerate(times_ms):
            frame = av.VideoFrame.from_ndarray(smooth_picture(w, h, k % 20), format="rgb24").reformat(
                format=pix,
                dst_colorspace={None: 1 if h >= 720 else 5, 6: 5}.get(space, space),
                dst_color_range=2 if full else 1,
            )
            frame.pts, frame.time_base = t, Fraction(1, 1000)
            box.mux(v.encode(frame))
        box.mux(v.encode(None))
    return path


def write_sound(
    path: Path, codec: str, clicks_s: Sequence[float], seconds: float, start_s: float, rate: int
) -> Path:
    """A grey clip with clicks; pictures begin `start_s` after the sound does, as some phones write it."""
    with av.open(str(path), "w") as box:
        v: Any = box.add_stream("libx264", rate=30, options={"preset": "ultrafast"})
        v.width, v.height, v.pix_fmt = W, H, "yuv420p"
        v.codec_context.time_base = Fraction(1, 1000)
        a: Any = box.add_stream(codec, rate=rate, layout="mono")
        wave = np.zeros(round(seconds * rate), np.float32)
        for c in clicks_s:
            wave[round(c * rate) : round(c * rate) + rate // 1000] = 0.7
        for k in range(round((seconds - start_s) * 30)):
            frame = av.VideoFrame.from_ndarray(np.full((H, W, 3), 90, np.uint8), format="rgb24").reformat(
                format="yuv420p"
            )
            frame.pts, frame.time_base = round(start_s * 1000 + k * 1000 / 30), Fraction(1, 1000)
            box.mux(v.encode(frame))
        box.mux(v.encode(None))
        kind = a.codec_context.format.name
        for k in range(0, len(wave), 1024):
            part = wave[k : k + 1024][None]
            data = part if kind == "fltp" else np.round(part * 32767).astype(np.int16)
            sounding = av.AudioFrame.from_ndarray(np.ascontiguousarray(data), format=kind, layout="mono")
            sounding.sample_rate, sounding.pts, sounding.time_base = rate, k, Fraction(1, rate)
            box.mux(a.encode(sounding))
        box.mux(a.encode(None))
    return path


def grey_levels(a: NDArray[np.uint8], b: NDArray[np.uint8]) -> int:
    """The largest difference of two pictures."""
    return int(np.abs(a.astype(int) - b.astype(int)).max())


# times


def test_even_times_of_a_constant_rate(tmp_path: Path) -> None:
    """A constant 25 frames a second: k / 25 s each, and what the file says of itself fits."""
    with open_footage(write(tmp_path / "c.mp4", [k * 40 for k in range(50)])) as f:
        assert [fr.t_s for fr in f.frames()] == pytest.approx([k / 25 for k in range(50)], abs=1e-6)
        assert (f.info.frames, f.info.fps) == (50, pytest.approx(25.0))
        assert f.info.duration_s == pytest.approx(2.0, abs=0.041)


def test_a_late_start_is_time_zero(tmp_path: Path) -> None:
    """Pictures whose clock starts at 7.5 s: the first is at 0, and a stretch is asked for in the same clock."""
    with open_footage(write(tmp_path / "late.mkv", [7500 + k * 40 for k in range(50)])) as f:
        assert next(f.frames()).t_s == 0
        assert [fr.t_s for fr in f.frames(1.0, 1.1)] == pytest.approx([1.0, 1.04, 1.08], abs=1.1e-3)
        assert f.info.duration_s == pytest.approx(2.0, abs=0.041)


@pytest.fixture(scope="module")
def uneven(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Variable frame rate, several groups of pictures."""
    rng = np.random.default_rng(4)
    times = np.cumsum(rng.integers(8, 70, 120))
    return write(tmp_path_factory.mktemp("uneven") / "u.mp4", [int(t) for t in times])


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 45000), st.integers(100, 10000))
def test_any_stretch_is_cut_exactly(uneven: Path, start_01ms: int, length_01ms: int) -> None:
    """Whatever stretch is asked for, its frames are those of a whole pass, the same pictures at the same times."""
    start_s, length_s = start_01ms * 1e-4, length_01ms * 1e-4
    with open_footage(uneven) as f:
        whole = [(fr.t_s, fr.luma().copy()) for fr in f.frames()]
        part = [(fr.t_s, fr.luma().copy()) for fr in f.frames(start_s, start_s + length_s)]
    wanted = [(t, y) for t, y in whole if start_s - 1e-9 <= t < start_s + length_s]
    assert [t for t, _ in part] == [t for t, _ in wanted]
    assert all(np.array_equal(a, b) for (_, a), (_, b) in zip(part, wanted, strict=True))


def test_spread_keeps_order_and_goes_over_everything(uneven: Path) -> None:
    """A spread of frames is in order of time and reaches into the first and the last fifth."""
    with open_footage(uneven) as f:
        times = [fr.t_s for fr in f.spread(10)]
        assert times == sorted(times) and len(set(times)) == 10
        assert times[0] < 0.2 * f.info.duration_s and times[-1] > 0.8 * f.info.duration_s


# pictures


@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("space", [1, 4, 5, 6, 7, 9])
def test_colours_of_every_matrix_and_range(tmp_path: Path, space: int, full: bool) -> None:
    """The matrices of ITU-T H.273 (1 is BT.709, 5 and 6 BT.601, 9 BT.2020), limited and full range: whole picture and crop agree with the library, and
    both with the colours that were filmed."""
    with open_footage(write(tmp_path / "m.mp4", [0, 40], space=space, full=full)) as f:
        frame = next(f.frames())
        whole, crop = frame.bgr(), frame.crop_bgr(20, 12, 70, 50)
        reference = frame.raw.to_ndarray(format="bgr24")
    assert grey_levels(whole, reference) == 0
    assert grey_levels(crop, reference[12:50, 20:70]) <= 4
    filmed = smooth_picture()[..., ::-1]
    assert np.abs(whole.astype(int) - filmed).mean() < 2.0
    assert np.abs(crop.astype(int) - filmed[12:50, 20:70]).mean() < 2.0


@pytest.mark.parametrize("size", [(96, 64), (1280, 720)])
def test_colours_where_the_file_does_not_say(tmp_path: Path, size: tuple[int, int]) -> None:
    """Without a stated matrix high definition is BT.709 and less is BT.601 (common practice, no source), in the crop as
    in the whole picture."""
    with open_footage(write(tmp_path / "n.mp4", [0], size=size, space=None)) as f:
        frame = next(f.frames())
        w, h = size
        part = (w // 4, h // 4, w // 2, h // 2)
        assert np.abs(frame.bgr().astype(int) - smooth_picture(w, h)[..., ::-1]).mean() < 2.0
        assert grey_levels(frame.crop_bgr(*part), frame.bgr()[part[1] : part[3], part[0] : part[2]]) <= 4


def test_ten_bit_hevc(tmp_path: Path) -> None:
    """10-bit HEVC, as phones film: read as 8-bit, in its colours, planes and crops included."""
    with open_footage(
        write(tmp_path / "h.mp4", [k * 40 for k in range(6)], codec="libx265", pix="yuv420p10le")
    ) as f:
        frames = [(fr.t_s, fr.bgr(), fr.crop_bgr(10, 10, 60, 50), fr.luma().shape) for fr in f.frames()]
    assert [t for t, *_ in frames] == pytest.approx([k * 0.04 for k in range(6)], abs=1e-3)
    _, whole, crop, shape = frames[0]
    assert shape == (H, W)
    assert np.abs(whole.astype(int) - smooth_picture()[..., ::-1]).mean() < 2.5
    assert grey_levels(crop, whole[10:50, 10:60]) <= 5


@pytest.mark.parametrize("turn", [90, 180, 270, -90])
def test_turned_pictures_crop_as_they_stand(tmp_path: Path, turn: int) -> None:
    """With a rotation flag the whole picture is the library's turned upright, and a crop is that part of it."""
    with open_footage(write(tmp_path / "t.mp4", [0, 40], rotation=turn)) as f:
        frame = next(f.frames())
        assert f.rotation % 360 == turn % 360
        whole, crop = frame.bgr(), frame.crop_bgr(8, 20, 50, 60)
        upright = np.rot90(frame.raw.to_ndarray(format="bgr24"), (turn % 360) // 90)
        size = frame.size
    assert size == ((H, W) if turn % 180 else (W, H)) == (f.info.width, f.info.height)
    assert grey_levels(whole, upright) == 0
    assert grey_levels(crop, whole[20:60, 8:50]) <= 4
    assert frame.luma().shape == whole.shape[:2]


@settings(max_examples=40, deadline=None)
@given(st.integers(-20, W + 5), st.integers(-20, H + 5), st.integers(1, W), st.integers(1, H))
def test_a_crop_is_that_part(cropped: Any, x: int, y: int, w: int, h: int) -> None:
    """Any bounds, odd ones and over the edge as well: the crop is that part of the whole picture."""
    wanted = cropped.bgr()[max(0, y) : max(0, y + h), max(0, x) : max(0, x + w)]
    got = cropped.crop_bgr(x, y, x + w, y + h)
    assert got.shape == wanted.shape
    assert wanted.size == 0 or grey_levels(got, wanted) <= 4


@pytest.fixture(scope="module")
def cropped(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """One frame."""
    with open_footage(write(tmp_path_factory.mktemp("crop") / "c.mp4", [0])) as f:
        return next(f.frames())


# sound


@pytest.mark.parametrize(
    ("name", "codec", "rate"),
    [("a.mkv", "pcm_s16le", 48000), ("a.mp4", "aac", 48000), ("b.mp4", "aac", 44100)],
)
@pytest.mark.parametrize("start_s", [0.0, 0.4])
def test_a_click_lies_at_its_time(tmp_path: Path, name: str, codec: str, rate: int, start_s: float) -> None:
    """Clicks at known times of the pictures' clock lie within a millisecond, wherever the stretch begins."""
    path = write_sound(tmp_path / name, codec, [0.7, 2.05], 3.0, start_s, rate)
    with open_footage(path) as f:
        assert f.has_sound
        for click in (0.7 - start_s, 2.05 - start_s):
            for lead in (0.002, 0.05, 0.1732, 0.3):
                s = f.sound(click - lead, click + 0.1)
                assert s.shape == (round((lead + 0.1) * RATE_HZ), 2)
                loud = np.abs(s[:, 0]) > 0.25
                assert loud.any()
                assert loud.argmax() / RATE_HZ == pytest.approx(lead, abs=1e-3)


def test_footage_without_sound_is_silent(tmp_path: Path) -> None:
    """No sound track: silence of the asked length."""
    with open_footage(write(tmp_path / "q.mp4", [0, 40])) as f:
        assert not f.has_sound
        assert f.sound(0.0, 0.25).shape == (12000, 2) and not f.sound(0.0, 0.25).any()


# damage


def refusal(path: Path) -> str:
    """What is said of a file that cannot be used."""
    with pytest.raises(FootageError) as e:
        probe(path)
    said = str(e.value)
    assert said.endswith(".") and "\n" not in said and path.name in said
    return said


def test_sound_only(tmp_path: Path) -> None:
    """A file with sound and no picture is refused, saying so."""
    path = tmp_path / "voice.m4a"
    with av.open(str(path), "w", format="mp4") as box:
        a: Any = box.add_stream("aac", rate=RATE_HZ, layout="mono")
        for k in range(20):
            part = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
            part.sample_rate, part.pts, part.time_base = RATE_HZ, 1024 * k, Fraction(1, RATE_HZ)
            box.mux(a.encode(part))
        box.mux(a.encode(None))
    assert "sound" in refusal(path)


def test_missing_empty_and_folder(tmp_path: Path) -> None:
    """Each is named for what it is."""
    (tmp_path / "empty.mp4").touch()
    (tmp_path / "clips").mkdir()
    assert "no file" in refusal(tmp_path / "none.mp4")
    assert "empty" in refusal(tmp_path / "empty.mp4")
    assert "folder" in refusal(tmp_path / "clips")


@pytest.mark.parametrize("share", [0.02, 0.3, 0.6])
def test_cut_short(tmp_path: Path, share: float) -> None:
    """A file that was copied in part is refused: one whose index comes last, and one whose index comes first."""
    whole = write(tmp_path / "whole.mp4", [k * 40 for k in range(150)], size=(320, 180)).read_bytes()
    path = tmp_path / "half.mp4"
    path.write_bytes(whole[: int(share * len(whole))])
    refusal(path)
    with (
        av.open(str(tmp_path / "whole.mp4")) as a,
        av.open(str(tmp_path / "first.mp4"), "w", options={"movflags": "faststart"}) as b,
    ):
        stream = b.add_stream_from_template(a.streams.video[0])
        for packet in a.demux(a.streams.video[0]):
            if packet.dts is not None:
                packet.stream = stream
                b.mux(packet)
    first = (tmp_path / "first.mp4").read_bytes()
    path.write_bytes(first[: int(share * len(first))])
    refusal(path)


def test_the_users_file_is_only_read(tmp_path: Path) -> None:
    """Reading leaves the file and its folder as they were."""
    path = write(tmp_path / "keep.mp4", [k * 40 for k in range(10)])
    was = path.read_bytes()
    with open_footage(path) as f:
        assert isinstance(f, OpenFootage)
        list(f.frames())
        f.sound(0.0, 0.1)
    assert path.read_bytes() == was and [p.name for p in tmp_path.iterdir()] == ["keep.mp4"]

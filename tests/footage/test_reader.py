"""Footage is read by its own times, the right way up, in its own colours."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from lessonkit.errors import FootageError
from lessonkit.footage.reader import open_footage, probe

W, H = 320, 180


def clip(path: Path, times_ms: Sequence[int], *, sound: bool = False) -> Path:
    """A clip whose frame k is grey 40 + 3 k with a red square at the top left; a click at 0.5 s where asked."""
    with av.open(str(path), "w") as c:
        v = c.add_stream("libx264", rate=30, options={"crf": "10", "bf": "2", "g": "12"})
        v.width, v.height, v.pix_fmt = W, H, "yuv420p"
        v.time_base = v.codec_context.time_base = Fraction(1, 1000)
        v.codec_context.color_range, v.codec_context.colorspace = 1, 1
        a = (
            c.add_stream("pcm_s16le" if path.suffix == ".mkv" else "aac", rate=48000, layout="mono")
            if sound
            else None
        )
        for k, t in enumerate(times_ms):
            picture = np.full((H, W, 3), 40 + 3 * k, np.uint8)
            picture[:60, :60] = (200, 30, 30)
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24").reformat(
                format="yuv420p", dst_colorspace=1, dst_color_range=1
            )
            frame.pts, frame.time_base = t, Fraction(1, 1000)
            c.mux(v.encode(frame))
        c.mux(v.encode(None))
        if a is not None:
            samples = np.zeros((1, 48000), np.int16)
            samples[0, 24000:24048] = 20000
            sounding = av.AudioFrame.from_ndarray(samples, format="s16", layout="mono")
            sounding.sample_rate, sounding.pts = 48000, 0
            c.mux(a.encode(sounding))
            c.mux(a.encode(None))
    return path


def test_uneven_times_are_kept(tmp_path: Path) -> None:
    """Variable frame rate: each frame comes with its own time, counted from the first."""
    times = [200, 233, 300, 310, 400, 520, 560, 700, 733, 800]
    with open_footage(clip(tmp_path / "v.mp4", times)) as f:
        got = [fr.t_s for fr in f.frames()]
    assert got == pytest.approx([(t - 200) / 1000 for t in times], abs=1e-3)


def test_a_stretch_is_the_same_as_in_a_whole_pass(tmp_path: Path) -> None:
    """Seeking gives exactly the frames of the stretch, the same pictures as a whole pass does."""
    with open_footage(clip(tmp_path / "s.mp4", [k * 33 for k in range(40)])) as f:
        whole = {round(fr.t_s, 3): fr.luma().mean() for fr in f.frames()}
        for start, end in ((0.5, 0.9), (0.0, 0.2), (1.1, 9.0)):
            part = {round(fr.t_s, 3): fr.luma().mean() for fr in f.frames(start, end)}
            assert part == {t: y for t, y in whole.items() if start <= t < end}
        assert len(f.spread(8)) == 8


def test_a_key_frame_alone_is_that_of_a_whole_pass(tmp_path: Path) -> None:
    """In any order, and frames are read on rightly afterwards."""
    with open_footage(clip(tmp_path / "k.mp4", [k * 33 for k in range(40)])) as f:
        whole = {fr.t_s: fr.luma().copy() for fr in f.frames()}
        keys = f.key_times()
        assert len(keys) >= 3
        for key_s in (*keys[::-1], *keys):
            frame = f.key_frame(key_s)
            assert frame is not None
            assert np.array_equal(frame.luma(), whole[frame.t_s])
            assert frame.t_s == pytest.approx(key_s)
        assert [fr.t_s for fr in f.frames(0.5, 0.9)] == [t for t in whole if 0.5 <= t < 0.9]


def test_colours_and_crops_agree_with_the_library(tmp_path: Path) -> None:
    """BT.709 red comes out red (PyAV's own conversion as reference), and a crop equals that part of the whole."""
    with open_footage(clip(tmp_path / "c.mp4", [0, 33, 66])) as f:
        frame = next(f.frames())
        whole = frame.bgr()
        reference = frame.raw.to_ndarray(format="bgr24")
        crop = frame.crop_bgr(10, 10, 50, 50)
    assert np.array_equal(whole, reference)
    assert np.abs(crop.astype(int) - reference[10:50, 10:50]).max() <= 6
    assert np.abs(whole[20, 20].astype(int) - (30, 30, 200)).max() <= 8


@pytest.mark.parametrize("degrees", [90, 180, 270])
def test_rotation_is_obeyed(tmp_path: Path, degrees: int) -> None:
    """A picture stored turned, with the flag that says so, stands upright."""
    from tests.scenes import random_scene, render, write_clip

    scene = random_scene(np.random.default_rng(5), "easy", 0, size=(320, 180), people=False)
    path = tmp_path / "r.mp4"
    write_clip(scene, path, fps=10, sound=False, rotation=degrees)
    with open_footage(path) as f:
        assert (f.info.width, f.info.height) == (320, 180)
        got = next(f.frames()).bgr().astype(float)
    assert np.abs(got - render(scene, 0.0)).mean() < 8


def test_sound_of_exactly_the_stretch(tmp_path: Path) -> None:
    """A click at 0.5 s lies at its sample, to a millisecond, whatever stretch is asked for."""
    with open_footage(clip(tmp_path / "a.mkv", [k * 33 for k in range(30)], sound=True)) as f:
        for start, end in ((0.0, 1.0), (0.4, 0.6), (0.25, 2.0)):
            s = f.sound(start, end)
            assert s.shape == (round((end - start) * 48000), 2)
            assert np.abs(s[:, 0]).argmax() / 48000 + start == pytest.approx(0.5, abs=1.1e-3)
        assert not f.sound(2.0, 2.5).any()


def test_bad_files_are_named_in_one_sentence(tmp_path: Path) -> None:
    """Missing, empty, cut short, no video, folder: FootageError with one sentence that says what to do."""
    good = clip(tmp_path / "g.mp4", [k * 33 for k in range(40)])
    (tmp_path / "empty.mp4").touch()
    (tmp_path / "short.mp4").write_bytes(good.read_bytes()[: good.stat().st_size // 2])
    (tmp_path / "text.mp4").write_text("no video\n" * 50)
    for name in ("none.mp4", "empty.mp4", "short.mp4", "text.mp4", "."):
        with pytest.raises(FootageError) as e:
            probe(tmp_path / name)
        assert str(e.value).rstrip().endswith(".") and "\n" not in str(e.value)

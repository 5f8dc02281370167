"""lesson.mp4 from little clips whose every ball, flash and click is known."""

from __future__ import annotations

import json
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from lessonkit.errors import FolderError, FootageError
from lessonkit.lesson.cutlist import CutList, Piece
from lessonkit.lesson.picture import output_size
from lessonkit.publish.stills import Beside
from lessonkit.publish.video import render
from lessonkit.table.camera import project
from tests.publish import filmed

SYNC_S = 0.020
"""EBU R37 (2007) allows a production stage sound 5 ms early and 15 ms late; half a frame at 30 a second is 17 ms."""
PLAY_START_S, PLAY_SOURCE_S = 2.0, 1.0


def make(folder: Path, clip: filmed.Clip) -> tuple[Path, Any]:
    """Film, render, return the lesson's file and the analysis."""
    info, cam = filmed.film(folder / "clip.mp4", clip)
    analysis = filmed.analysis(info, cam)
    render(folder / "clip.mp4", analysis, filmed.cut_list(), folder / "lesson.mp4")
    return folder / "lesson.mp4", analysis


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Any]:
    """A clip of constant rate with sound."""
    return make(tmp_path_factory.mktemp("plain"), filmed.Clip())


def frames_of(path: Path) -> list[tuple[float, np.ndarray]]:
    """Times and pictures."""
    with av.open(str(path)) as container:
        return [(float(f.time), f.to_ndarray(format="bgr24")) for f in container.decode(video=0)]


def sound_of(path: Path) -> tuple[float, np.ndarray]:
    """Time of the first sample as presented, and the samples' mean over channels."""
    with av.open(str(path)) as container:
        frames = list(container.decode(audio=0))
    return float(frames[0].time), np.concatenate([f.to_ndarray().mean(0) for f in frames])


def flash_time(path: Path, cam: Any) -> float:
    """Lesson time, from the play's start, of the first frame on which the square is lit."""
    x, y = np.round(project(cam, [filmed.FLASH_MM])[0]).astype(int)
    return next(
        t
        for t, p in frames_of(path)
        if t >= PLAY_START_S - 1e-6 and p[y - 4 : y + 4, x - 4 : x + 4].min() > 200
    )


def click_time(path: Path) -> float:
    """Lesson time of the click's onset."""
    start, samples = sound_of(path)
    return start + int(np.argmax(np.abs(samples) > 0.3)) / 48000


def test_streams_are_what_players_take(plain: tuple[Path, Any]) -> None:
    """H.264 yuv420p with BT.709 tags, AAC, timed text."""
    with av.open(str(plain[0])) as c:
        v, a, s = c.streams.video[0], c.streams.audio[0], c.streams.subtitles[0]
        assert (v.codec_context.name, v.codec_context.pix_fmt) == ("h264", "yuv420p")
        assert (v.codec_context.color_primaries, v.codec_context.color_trc, v.codec_context.colorspace) == (
            1,
            1,
            1,
        )
        assert v.codec_context.color_range == 1
        assert (a.codec_context.name, a.codec_context.sample_rate) == ("aac", 48000)
        assert s.codec_context.name == "mov_text"
        assert (v.width, v.height) == (640, 360)


@pytest.mark.skipif(shutil.which("ffprobe") is None, reason="ffprobe is not installed")
def test_an_independent_prober_agrees(plain: tuple[Path, Any]) -> None:
    """FFmpeg's ffprobe names the same streams, chapters and length."""
    out = subprocess.run(
        ["ffprobe", "-v", "error", "-show_streams", "-show_chapters", "-show_format", "-of", "json", str(plain[0])],
        capture_output=True, check=True, text=True,
    )  # fmt: skip
    assert out.stderr == ""
    probed = json.loads(out.stdout)
    names = [s.get("codec_name") for s in probed["streams"]]
    assert names[:3] == ["h264", "aac", "mov_text"]
    video = probed["streams"][0]
    assert (video["avg_frame_rate"], video["color_space"], video["color_range"]) == ("30/1", "bt709", "tv")
    assert float(video["start_time"]) == 0.0
    assert abs(float(probed["streams"][1]["start_time"])) < SYNC_S
    assert float(probed["format"]["duration"]) == pytest.approx(6.5, abs=0.05)
    titles = [c["tags"]["title"] for c in probed["chapters"]]
    assert titles == [c.title for c in filmed.cut_list().chapters]


def test_chapters_come_back(plain: tuple[Path, Any]) -> None:
    """Titles and times as in the cut list, each chapter beginning on a key frame."""
    with av.open(str(plain[0])) as c:
        read = [(round(float(x["start"] * x["time_base"]), 3), round(float(x["end"] * x["time_base"]), 3),
                 x["metadata"]["title"]) for x in c.chapters()]  # fmt: skip
        keys = {
            round(float(p.pts * p.time_base), 3)
            for p in c.demux(video=0)
            if p.pts is not None and p.is_keyframe
        }
    assert read == [(x.start_s, x.end_s, x.title) for x in filmed.cut_list().chapters]
    assert {x.start_s for x in filmed.cut_list().chapters} <= keys


def test_captions_come_back(plain: tuple[Path, Any]) -> None:
    """Text, line break and times of each cue, read as 3GPP timed text."""
    read = []
    with av.open(str(plain[0])) as c:
        for p in c.demux(c.streams.subtitles[0]):
            data = bytes(p) if p.size else b""
            length = int.from_bytes(data[:2], "big")
            if length:
                start = float(p.pts * p.time_base)
                read.append((round(start, 3), round(start + float(p.duration * p.time_base), 3),
                             data[2 : 2 + length].decode()))  # fmt: skip
    assert read == [(x.start_s, x.end_s, x.text) for x in filmed.cut_list().cues]


def test_the_index_stands_in_front(plain: tuple[Path, Any]) -> None:
    """Box order (ISO/IEC 14496-12): moov before mdat, so that a page plays the video while it loads."""
    data = plain[0].read_bytes()
    at, order = 0, []
    while at < len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        order.append(data[at + 4 : at + 8])
        at += int.from_bytes(data[at + 8 : at + 16], "big") if size == 1 else size
    assert order.index(b"moov") < order.index(b"mdat")


def test_frame_times_are_even(plain: tuple[Path, Any]) -> None:
    """195 frames, 1/30 s apart, from 0."""
    times = [t for t, _ in frames_of(plain[0])]
    assert len(times) == 195
    assert times == pytest.approx([k / 30 for k in range(195)], abs=1e-4)


@pytest.mark.parametrize(
    "clip",
    [
        filmed.Clip(),
        filmed.Clip(times_s=filmed.VARIABLE_TIMES_S),
        filmed.Clip(start_s=0.7),
        filmed.Clip(width=360, height=640, turned=True),
    ],
    ids=["constant", "variable rate", "late start", "turned"],
)
def test_picture_and_sound_stay_together(tmp_path: Path, clip: filmed.Clip) -> None:
    """The square lights up and the click sounds at the strike's place in the play, whatever the camera wrote."""
    path, analysis = make(tmp_path, clip)
    expected = PLAY_START_S + filmed.STRIKE_S - PLAY_SOURCE_S
    lit = next(t for t in clip.times_s if t >= filmed.STRIKE_S) - filmed.STRIKE_S  # the camera's own lateness
    seen = flash_time(path, analysis.camera)
    assert seen == pytest.approx(expected + lit, abs=1 / 60 + 1e-3)
    assert click_time(path) == pytest.approx(expected, abs=SYNC_S)


def test_a_turned_clip_comes_out_upright(tmp_path: Path) -> None:
    """In the play, before the strike, the cue ball is white where the upright camera sees it."""
    path, analysis = make(tmp_path, filmed.Clip(width=360, height=640, turned=True))
    picture = next(p for t, p in frames_of(path) if t >= PLAY_START_S + 0.2)
    assert picture.shape == (640, 360, 3)
    x, y = np.round(project(analysis.camera, [filmed.CUE], 28.575)[0]).astype(int)
    assert picture[y, x].min() > 200


def test_silent_footage_gives_a_silent_track(tmp_path: Path) -> None:
    """Players that want a sound track find one."""
    path, _ = make(tmp_path, filmed.Clip(sound=False))
    start, samples = sound_of(path)
    assert start == pytest.approx(0, abs=SYNC_S)
    assert len(samples) / 48000 == pytest.approx(6.5, abs=0.05)
    assert np.abs(samples).max() < 1e-3


def test_stills_and_cards_are_silent(plain: tuple[Path, Any]) -> None:
    """The footage's sound is heard in the play only; its edges are faded over a few milliseconds."""
    start, samples = sound_of(plain[0])
    quiet = np.r_[samples[: int((1.9 - start) * 48000)], samples[int((4.6 - start) * 48000) :]]
    assert np.abs(quiet).max() < 2e-3
    hum = samples[int((2.1 - start) * 48000) : int((2.4 - start) * 48000)]
    assert np.abs(hum).max() > 0.05  # of 0.01, turned up as the whole lesson is


def test_play_shows_the_footage_at_full_speed(plain: tuple[Path, Any]) -> None:
    """Each play frame outside the drawing equals the source frame of its time, but for the encoder's loss."""
    cam = plain[1].camera
    errors = []
    for t, picture in frames_of(plain[0]):
        if PLAY_START_S <= t < 4.49:
            source = filmed.scene(cam, 640, 360, round((t - PLAY_START_S + PLAY_SOURCE_S) * 30) / 30 + 1e-6)
            x, y = np.round(project(cam, [filmed.OTHER], 28.575)[0]).astype(int)
            part = np.s_[y - 12 : y + 12, x - 12 : x + 12]
            errors.append(np.abs(picture[part].astype(int) - source[part]).mean())
    assert len(errors) == 75
    assert max(errors) < 8


def test_the_trail_follows_the_cue_ball(plain: tuple[Path, Any]) -> None:
    """At rest the actual way lies on the cloth: orange at its middle, and not yet there before the strike."""
    cam = plain[1].camera
    middle = ((filmed.CUE[0] + filmed.GHOST[0]) / 2, (filmed.CUE[1] + filmed.GHOST[1]) / 2)
    x, y = np.round(project(cam, [middle], 28.575)[0]).astype(int)
    shown = {round(t, 2): p[y, x].astype(int) for t, p in frames_of(plain[0])}
    before, after = shown[2.3], shown[4.3]
    assert np.abs(before - filmed.CLOTH).max() < 20
    assert after[2] - after[0] > 100  # red far above blue


def test_the_trail_passes_behind_people(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A sleeve over the middle of the way stays a sleeve, while the way shows beside it."""
    middle = ((filmed.CUE[0] + filmed.GHOST[0]) / 2, (filmed.CUE[1] + filmed.GHOST[1]) / 2)
    beside = tuple(c + 0.3 * (g - c) for c, g in zip(filmed.CUE, filmed.GHOST, strict=True))
    (x, y), (bx, by) = np.round(project(filmed.camera(), [middle, beside], 28.575)).astype(int)
    plain = filmed.scene

    def peopled(cam: Any, width: int, height: int, t_s: float, **how: Any) -> np.ndarray:
        picture = plain(cam, width, height, t_s, **how)
        if t_s > 2.0:
            picture[y - 12 : y + 12, x - 12 : x + 12] = (120, 40, 30)
        return picture

    monkeypatch.setattr(filmed, "scene", peopled)
    path, _ = make(tmp_path, filmed.Clip(sound=False))
    picture = next(p for t, p in frames_of(path) if t >= 4.2).astype(int)
    assert np.abs(picture[y, x] - (120, 40, 30)).max() < 30
    assert picture[by, bx, 2] - picture[by, bx, 0] > 100


def test_no_flashing(plain: tuple[Path, Any]) -> None:
    """WCAG 2.x, 2.3.1: in no second do more than three pairs of opposing changes of 10 % luminance occur."""
    light = np.array([p.mean() / 255 for _, p in frames_of(plain[0])])
    jumps = np.abs(np.diff(light)) >= 0.1
    assert max(np.convolve(jumps, np.ones(30))) <= 3


def test_progress_goes_up_to_one(tmp_path: Path) -> None:
    """Shares never go back and end at 1."""
    info, cam = filmed.film(tmp_path / "clip.mp4", filmed.Clip(sound=False))
    told: list[float] = []
    render(
        tmp_path / "clip.mp4",
        filmed.analysis(info, cam),
        filmed.cut_list(),
        tmp_path / "l.mp4",
        progress=told.append,
    )
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_nothing_half_done_is_left(tmp_path: Path) -> None:
    """Broken off in the middle, an earlier lesson stays as it was and no part file remains."""
    info, cam = filmed.film(tmp_path / "clip.mp4", filmed.Clip(sound=False))
    out = tmp_path / "out"
    out.mkdir()
    (out / "lesson.mp4").write_bytes(b"earlier")

    def stop(share: float) -> None:
        if share > 0.3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        render(
            tmp_path / "clip.mp4",
            filmed.analysis(info, cam),
            filmed.cut_list(),
            out / "lesson.mp4",
            progress=stop,
        )
    assert [p.name for p in out.iterdir()] == ["lesson.mp4"]
    assert (out / "lesson.mp4").read_bytes() == b"earlier"


def test_footage_without_a_shot_still_gives_a_title(tmp_path: Path) -> None:
    """A cut list of one card renders."""
    info, cam = filmed.film(tmp_path / "clip.mp4", filmed.Clip(sound=False))
    empty = replace(filmed.analysis(info, cam), shots=())
    cuts = CutList((Piece("title", 0.0, 1.0),), (), ())
    render(tmp_path / "clip.mp4", empty, cuts, tmp_path / "l.mp4")
    assert len(frames_of(tmp_path / "l.mp4")) == 30


def test_bad_places_are_told_in_a_sentence(tmp_path: Path) -> None:
    """Missing footage and a missing folder each raise their own error."""
    info, cam = filmed.film(tmp_path / "clip.mp4", filmed.Clip(sound=False))
    a, cuts = filmed.analysis(info, cam), filmed.cut_list()
    with pytest.raises(FootageError, match=r"no file"):
        render(tmp_path / "none.mp4", a, cuts, tmp_path / "l.mp4")
    with pytest.raises(FolderError, match=r"could not be written|cannot be written"):
        render(tmp_path / "clip.mp4", a, cuts, tmp_path / "nowhere" / "l.mp4")


@pytest.mark.parametrize(
    ("given", "expected"),
    [((1920, 1080), (1920, 1080)), ((3840, 2160), (1920, 1080)), ((1280, 720), (1280, 720)),
     ((1080, 1920), (1080, 1920)), ((2160, 3840), (1080, 1920)), ((853, 480), (852, 480)), ((4096, 2160), (1920, 1012))],
)  # fmt: skip
def test_output_size(given: tuple[int, int], expected: tuple[int, int]) -> None:
    """Never larger than the footage or than 1920 by 1080 either way round; even."""
    assert output_size(*given) == expected


def test_stills_are_written(tmp_path: Path) -> None:
    """Two full-size pictures a shot, whether or not the lesson shows them, and the table from above."""
    import cv2

    info, cam = filmed.film(tmp_path / "clip.mp4", filmed.Clip(sound=False))
    analysis, cuts = filmed.analysis(info, cam), filmed.cut_list()
    for name, pieces in (("all", cuts.pieces), ("play", tuple(p for p in cuts.pieces if p.kind == "play"))):
        beside = Beside(tmp_path / name, analysis)
        starts = replace(
            cuts, pieces=tuple(replace(p, start_s=p.start_s - pieces[0].start_s) for p in pieces)
        )
        render(tmp_path / "clip.mp4", analysis, starts, tmp_path / name / "lesson.mp4", beside=beside)
        assert [f.name for f in beside.written] == ["shot-01-plan.png", "shot-01-result.png"]
        assert all(cv2.imread(str(f)).shape == (360, 640, 3) for f in beside.written)
        assert cv2.imread(str(tmp_path / name / "top-view.png")).shape[1] == 1280

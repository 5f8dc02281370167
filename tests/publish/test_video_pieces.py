"""Pieces of a lesson: kept and joined, gone on with after a stop, slow and fast, drafts, clips, a person's own material."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from lessonkit.analysis_file import write_analysis
from lessonkit.errors import SettingsError
from lessonkit.lesson.cutlist import CutList, Draft, Piece
from lessonkit.lesson.laying import lay_out
from lessonkit.lesson.settings import Colours, Logo, Settings
from lessonkit.model import Analysis
from lessonkit.publish.stills import Beside
from lessonkit.publish.video import PIECES, form_of, render
from lessonkit.table.camera import project
from tests.publish import filmed
from tests.running import ROOT


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Analysis]:
    """A clip and what is known of it."""
    home = tmp_path_factory.mktemp("pieces")
    info, cam = filmed.film(home / "clip.mp4", filmed.Clip())
    return home / "clip.mp4", filmed.analysis(info, cam)


def pictures(path: Path) -> list[np.ndarray]:
    """All frames."""
    with av.open(str(path)) as c:
        return [f.to_ndarray(format="bgr24") for f in c.decode(video=0)]


def packets(path: Path) -> list[tuple[int, int, bool]]:
    """Presentation and decoding time of each picture, in ticks, and whether it is a key frame."""
    with av.open(str(path)) as c:
        return [(p.pts, p.dts, p.is_keyframe) for p in c.demux(video=0) if p.pts is not None and p.size]


def laid(drafts: list[Draft], a: Analysis) -> CutList:
    """In place."""
    return lay_out(drafts, form_of(a).rate, a.shots)


def test_pictures_last_as_long_as_the_list_says(scene: tuple[Path, Analysis], tmp_path: Path) -> None:
    """Every piece to the frame, each beginning with a key frame, times ascending; sound as long as the pictures."""
    clip, a = scene
    cuts = laid(
        [
            Draft("title", lasts_s=5.3), Draft("plan", 1, 1.0, lasts_s=4.9), Draft("play", 1, 1.0, 2.0),
            Draft("play", 1, 2.0, 3.0, 2.0), Draft("replay", 1, 1.0, 3.5, 0.4), Draft("skip", None, 0.0, 1.0, 16.0),
            Draft("result", 1, 3.5, lasts_s=0.1), Draft("next", lasts_s=2.0, text=("", "Banks")), Draft("table", lasts_s=0.04),
        ],
        a,
    )  # fmt: skip
    render(clip, a, cuts, tmp_path / "lesson.mp4")
    times = packets(tmp_path / "lesson.mp4")
    with av.open(str(tmp_path / "lesson.mp4")) as c:
        base = float(c.streams.video[0].time_base)
        sound_s = sum(f.samples for f in c.decode(audio=0)) / 48000
    shown = sorted(round(p * base * 30, 3) for p, _, _ in times)
    assert shown == pytest.approx(list(range(len(times))), abs=0.01)
    assert len(times) == round(cuts.duration_s * 30)
    assert len(pictures(tmp_path / "lesson.mp4")) == len(times)
    assert all(b > a for (_, a, _), (_, b, _) in pairwise(times))
    assert all(dts <= pts for pts, dts, _ in times)
    keys = {round(pts * base * 30) for pts, _, key in times if key}
    assert {round(p.start_s * 30) for p in cuts.pieces} <= keys
    assert sound_s == pytest.approx(cuts.duration_s, abs=0.03)


def test_a_long_still_is_the_same_throughout(scene: tuple[Path, Analysis], tmp_path: Path) -> None:
    """Its frames are encoded once and repeated: no seam to be seen, and hardly larger than half as long a one."""
    clip, a = scene
    sizes = []
    for n, length in enumerate((6.0, 12.0)):
        cuts = laid([Draft("result", 1, 3.5, lasts_s=length)], a)
        render(clip, a, cuts, tmp_path / f"{n}.mp4")
        sizes.append((tmp_path / f"{n}.mp4").stat().st_size)
    frames = pictures(tmp_path / "1.mp4")
    assert len(frames) == 360
    settled = [f.astype(int) for f in frames[200::7]]
    assert max(np.abs(f - settled[0]).mean() for f in settled) < 0.7


def test_what_is_made_is_not_made_again(scene: tuple[Path, Analysis], tmp_path: Path) -> None:
    """A second rendering shows no piece anew; a changed one only itself; what is no longer needed goes."""
    clip, a = scene
    home = tmp_path / PIECES
    cuts = filmed.cut_list()

    def made(c: CutList) -> set[str]:
        before = {p.name: p.stat().st_mtime_ns for p in home.glob("*.mp4")} if home.exists() else {}
        render(clip, a, c, tmp_path / "lesson.mp4", keep=home, beside=Beside(tmp_path, a))
        return {p.name for p in home.glob("*.mp4") if before.get(p.name) != p.stat().st_mtime_ns}

    assert len(made(cuts)) == 5
    first = (tmp_path / "lesson.mp4").read_bytes()
    assert made(cuts) == set()
    assert (tmp_path / "lesson.mp4").read_bytes() == first
    changed = replace(cuts, pieces=(*cuts.pieces[:1], replace(cuts.pieces[1], steps=()), *cuts.pieces[2:]))
    assert len(made(changed)) == 1
    assert len(list(home.glob("*.mp4"))) == 5
    (tmp_path / "stills" / "shot-01-result.png").unlink()
    assert len(made(changed)) == 1
    assert (tmp_path / "stills" / "shot-01-result.png").exists()


KILLED = """
import sys
from pathlib import Path
from lessonkit.analysis_file import read_analysis
from lessonkit.publish.video import render
from tests.publish import filmed
home = Path(sys.argv[1])
def tell(share):
    print(share, flush=True)
    if share > 0.5: sys.stdin.readline()
render(home / "clip.mp4", read_analysis(home / "a.json"), filmed.cut_list(), home / "lesson.mp4", keep=home / "pieces",
       progress=tell)
"""


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT], ids=["killed", "stopped"])
def test_a_rendering_that_was_stopped_goes_on(
    scene: tuple[Path, Analysis], tmp_path: Path, how: signal.Signals
) -> None:
    """Killed in the middle of a piece: no half file under a final name; finished pieces are kept and used."""
    clip, a = scene
    (tmp_path / "clip.mp4").symlink_to(clip)
    write_analysis(tmp_path / "a.json", a)
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(tmp_path)], cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, text=True, env={**os.environ, "PYTHONPATH": str(ROOT)},
    ) as job:  # fmt: skip
        assert job.stdout is not None
        while float(job.stdout.readline()) <= 0.5:
            pass
        time.sleep(0.5)  # what was handed over is encoded
        job.send_signal(how)
        job.wait(20)
    assert not (tmp_path / "lesson.mp4").exists()
    kept = {p: p.stat().st_mtime_ns for p in (tmp_path / "pieces").glob("[!.]*.mp4")}
    assert 1 <= len(kept) < 5
    from lessonkit.analysis_file import read_analysis

    shares: list[float] = []
    render(
        tmp_path / "clip.mp4", read_analysis(tmp_path / "a.json"), filmed.cut_list(), tmp_path / "lesson.mp4",
        keep=tmp_path / "pieces", progress=shares.append,
    )  # fmt: skip
    assert all(p.stat().st_mtime_ns == t for p, t in kept.items())
    assert len(pictures(tmp_path / "lesson.mp4")) == 195
    assert shares == sorted(shares)
    assert not list((tmp_path / "pieces").glob(".*"))


def test_slow_pictures_are_blended(scene: tuple[Path, Analysis], tmp_path: Path) -> None:
    """At half speed every second frame is the mean of its neighbours where nothing is drawn."""
    clip, a = scene
    cuts = CutList((Piece("skip", 0.0, 1.0, None, 1.2, 1.7, 0.5),), (), ())
    render(clip, a, cuts, tmp_path / "l.mp4")
    x, y = np.round(project(a.camera, [filmed.FLASH_MM])[0]).astype(int)
    light = np.array([p[y - 4 : y + 4, x - 4 : x + 4].mean() for p in pictures(tmp_path / "l.mp4")])
    dark, lit = light[:6].mean(), light[-6:].mean()
    between = light[(light > dark + 10) & (light < lit - 10)]
    assert len(between) == 1
    assert between[0] == pytest.approx((dark + lit) / 2, abs=8)


def test_speed_moves_the_footage(scene: tuple[Path, Analysis], tmp_path: Path) -> None:
    """The square that lights up at the strike does so at its time over the speed."""
    clip, a = scene
    x, y = np.round(project(a.camera, [filmed.FLASH_MM])[0]).astype(int)
    for speed in (0.25, 2.0):
        cuts = laid([Draft("skip", None, 0.5, 3.5, speed)], a)
        render(clip, a, cuts, tmp_path / "l.mp4")
        frames = pictures(tmp_path / "l.mp4")
        first = next(k for k, p in enumerate(frames) if p[y - 4 : y + 4, x - 4 : x + 4].min() > 200)
        assert first / 30 == pytest.approx((filmed.STRIKE_S - 0.5) / speed, abs=2.01 / 30)


def test_a_draft_is_small_and_shows_the_same(scene: tuple[Path, Analysis], tmp_path: Path) -> None:
    """Footage larger than a draft comes out at 640 by 360 at most; times are the lesson's."""
    info, cam = filmed.film(tmp_path / "clip.mp4", filmed.Clip(width=1280, height=720))
    a = filmed.analysis(info, cam)
    render(tmp_path / "clip.mp4", a, filmed.cut_list(), tmp_path / "d.mp4", draft=True)
    frames = pictures(tmp_path / "d.mp4")
    assert frames[0].shape == (360, 640, 3)
    assert len(frames) == 195


def test_every_shot_as_a_clip_of_its_own(scene: tuple[Path, Analysis], tmp_path: Path) -> None:
    """Its pieces from 0, with sound, its captions inside and beside; the click at the strike."""
    clip, a = scene
    render(clip, a, filmed.cut_list(), tmp_path / "l.mp4", clips=tmp_path / "clips")
    assert sorted(p.name for p in (tmp_path / "clips").iterdir()) == [
        "shot-01.mp4",
        "shot-01.srt",
        "shot-01.vtt",
    ]
    own = tmp_path / "clips" / "shot-01.mp4"
    assert len(pictures(own)) == 135
    with av.open(str(own)) as c:
        assert [s.type for s in c.streams][:3] == ["video", "audio", "subtitle"]
        samples = np.concatenate([f.to_ndarray().mean(0) for f in c.decode(audio=0)])
    assert int(np.argmax(np.abs(samples) > 0.3)) / 48000 == pytest.approx(
        1.0 + filmed.STRIKE_S - 1.0, abs=0.02
    )
    text = (tmp_path / "clips" / "shot-01.srt").read_bytes().decode()
    assert text.startswith("1\r\n00:00:00,000 --> 00:00:01,000\r\nNine, foot-left corner")


def test_a_clip_of_ones_own_is_fitted_in(scene: tuple[Path, Analysis], tmp_path: Path) -> None:
    """A narrow clip stands in the middle, with its sound."""
    clip, a = scene
    own = filmed.Clip(width=360, height=640)
    filmed.film(tmp_path / "in.mp4", own)
    cuts = laid([Draft("clip", source_start_s=0.5, source_end_s=2.5, file=str(tmp_path / "in.mp4"))], a)
    render(clip, a, cuts, tmp_path / "l.mp4")
    frame = pictures(tmp_path / "l.mp4")[5]
    assert frame.shape == (360, 640, 3)
    assert frame[:, :200].max() < 12
    assert frame[:, 240:400].mean() > 40
    with av.open(str(tmp_path / "l.mp4")) as c:
        samples = np.concatenate([f.to_ndarray().mean(0) for f in c.decode(audio=0)])
    assert int(np.argmax(np.abs(samples) > 0.3)) / 48000 == pytest.approx(1.0, abs=0.02)


def test_logo_and_colours_are_the_persons(scene: tuple[Path, Analysis], tmp_path: Path) -> None:
    """The logo in its corner of a card; the actual way in its colour on the result."""
    clip, a = scene
    mark = np.zeros((40, 80, 4), np.uint8)
    mark[:] = (250, 20, 20, 255)
    cv2.imwrite(str(tmp_path / "mark.png"), mark)
    how = Settings(
        colours=Colours(actual="#FF00FF"), logo=Logo(str(tmp_path / "mark.png"), "bottom-left", 0.1)
    )
    cuts = laid([Draft("title", lasts_s=1.0), Draft("result", 1, 3.5, lasts_s=1.0)], a)
    render(clip, a, cuts, tmp_path / "l.mp4", settings=how)
    frames = pictures(tmp_path / "l.mp4")
    b, g, r = (int(v) for v in frames[29][330, 30])
    assert b > 180
    assert max(g, r) < 80
    b, g, r = (int(v) for v in frames[58][330, 30])
    assert b < min(g, r) + 40  # on cards only
    middle = ((filmed.CUE[0] + filmed.GHOST[0]) / 2, (filmed.CUE[1] + filmed.GHOST[1]) / 2)
    x, y = np.round(project(a.camera, [middle], 28.575)[0]).astype(int)
    b, g, r = (int(v) for v in frames[-1][y, x])
    assert min(b, r) > g + 80


def test_a_logo_that_is_no_picture_is_refused(scene: tuple[Path, Analysis], tmp_path: Path) -> None:
    """Before anything is drawn."""
    (tmp_path / "mark.png").write_text("no picture")
    how = Settings(logo=Logo(str(tmp_path / "mark.png")))
    with pytest.raises(SettingsError, match="no picture"):
        render(*scene, filmed.cut_list(), tmp_path / "l.mp4", settings=how)

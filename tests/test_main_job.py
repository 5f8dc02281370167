"""The main job on real encoded video, read back with other people's programs.

The clip is seventeen seconds of the sample: a missed three-rail shot and the shot after it, with their two notes.
Outside readers: ffprobe (FFmpeg), webvtt-py, pysrt, and Chromium. The truth comes from the renderer that computed the
sample; the thresholds are those that the project set itself.
"""

from __future__ import annotations

import copy
import csv
import functools
import itertools
import json
import shutil
import subprocess
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pysrt
import pytest
import webvtt

from lessonkit.stages import ON_REQUEST, WRITTEN
from tests.measuring import Accuracy, measure
from tests.running import SCRIPT, Ran, script

pytestmark = pytest.mark.slow

START_S, LENGTH_S = 24.0, 17.0
FPS = 30
STRIKE_FRAMES = 1.5
PLACE_MEDIAN_MM, PLACE_P95_MM = 3.0, 8.0
NUMBERS_RIGHT = 0.97
NOTES = """Title: The greedy one and the safe one

0:02 Two ball, head-right. Force follow, hard, a full tip of right, three rails to the right half of the foot third for the six.
0:12 Plan B: 6 in the foot-left with firm draw and no side. One rail, and the cue ball in the middle third on the right for the eight.
"""


@dataclass(frozen=True)
class Lesson:
    """A made lesson and what it was made of."""

    ran: Ran
    folder: Path
    clip: Path

    def analysis(self) -> dict[str, Any]:
        """Its analysis.json."""
        found: dict[str, Any] = json.loads((self.folder / "analysis.json").read_text())
        return found


@pytest.fixture(scope="module")
def lesson(tmp_path_factory: pytest.TempPathFactory, sample_footage: Path) -> Lesson:
    """The lesson of the short clip, made once by the installed command."""
    home = tmp_path_factory.mktemp("main-job")
    clip, notes = home / "clip.mp4", home / "notes.txt"
    cut = ["-ss", str(START_S), "-t", str(LENGTH_S), "-i", str(sample_footage)]
    coded = ["-c:v", "libx264", "-preset", "veryfast", "-crf", "20", "-c:a", "aac", str(clip)]
    subprocess.run(["ffmpeg", "-v", "error", *cut, *coded], check=True, stdin=subprocess.DEVNULL)
    notes.write_text(NOTES)
    ran = script("make", clip, "--notes", notes, "--out", home / "lesson")
    assert ran.status == 0, ran.err
    return Lesson(ran, home / "lesson", clip)


@pytest.fixture(scope="module")
def clip_truth(sample_truth: dict[str, Any]) -> dict[str, Any]:
    """The truth of the short clip, in its own time."""
    shots = [s for s in copy.deepcopy(sample_truth["shots"]) if START_S < s["strike_s"] < START_S + LENGTH_S]
    for s in shots:
        s["strike_s"] -= START_S
        s["cue_path"] = [[t - START_S, x, y] for t, x, y in s["cue_path"]]
    assert len(shots) == 2
    return sample_truth | {"shots": shots}


def _assert_accurate(a: Accuracy) -> None:
    assert a.shots_matched == a.shots_found == a.shots_true
    assert a.strike_s.max() <= STRIKE_FRAMES / FPS
    assert np.median(a.place_mm) <= PLACE_MEDIAN_MM
    assert np.percentile(a.place_mm, 95) <= PLACE_P95_MM
    assert len(a.place_mm) == a.balls_true == a.balls_found
    assert a.numbers_right / len(a.place_mm) >= NUMBERS_RIGHT


def test_every_file_is_there_and_named(lesson: Lesson) -> None:
    """All that a lesson consists of is in the folder, none of it empty or half-made, and the run says where."""
    names = {p.name for p in lesson.folder.iterdir() if not p.name.startswith(".")}
    always = set(WRITTEN) - set(ON_REQUEST)
    assert names == always
    assert all(p.stat().st_size > 0 for p in lesson.folder.iterdir())
    assert not list(lesson.folder.rglob("*.part*"))
    for name in always:
        assert name in lesson.ran.out
    assert "2 shots found" in lesson.ran.out
    assert "Traceback" not in lesson.ran.err


def test_shots_balls_and_numbers_are_as_they_were(lesson: Lesson, clip_truth: dict[str, Any]) -> None:
    """The analysis of the clip keeps the project's own thresholds against the renderer's truth."""
    _assert_accurate(measure(lesson.analysis(), clip_truth))


def test_what_happened_is_told(lesson: Lesson) -> None:
    """The first shot's called ball was missed, the second's was made."""
    first, second = lesson.analysis()["shots"]
    assert (first["plan"]["ball"], first["plan"]["pocket"], first["comparison"]["called_made"]) == (
        2,
        "head-right",
        False,
    )
    assert (second["plan"]["ball"], second["plan"]["pocket"], second["comparison"]["called_made"]) == (
        6,
        "foot-left",
        True,
    )
    assert first["pocketed"] == []
    assert [(p["ball"], p["pocket"]) for p in second["pocketed"]] == [(6, "foot-left")]


def test_the_whole_sample_is_accurate(
    tmp_path: Path, sample_footage: Path, sample_truth: dict[str, Any]
) -> None:
    """`analyse` on the whole sample keeps the thresholds too, and every drop is told."""
    ran = script("analyse", sample_footage, "--out", tmp_path / "lesson")
    assert ran.status == 0, ran.err
    analysis = json.loads((tmp_path / "lesson" / "analysis.json").read_text())
    _assert_accurate(measure(analysis, sample_truth))
    told = [[(p["ball"], p["pocket"]) for p in s["pocketed"]] for s in analysis["shots"]]
    assert told == [[(p["ball"], p["pocket"]) for p in s["pocketed"]] for s in sample_truth["shots"]]


def _ffprobe(path: Path, *show: str) -> dict[str, Any]:
    command = ["ffprobe", "-v", "error", "-of", "json", *show, str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stderr == ""
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_the_video_is_sound_by_ffprobe(lesson: Lesson) -> None:
    """H.264 in 4:2:0 with AAC, both from 0 and of one length, every frame later than the one before."""
    video = lesson.folder / "lesson.mp4"
    found = _ffprobe(video, "-show_streams", "-show_format")
    kinds = {s["codec_type"]: s for s in found["streams"]}
    picture, sound = kinds["video"], kinds["audio"]
    assert (picture["codec_name"], picture["pix_fmt"], sound["codec_name"]) == ("h264", "yuv420p", "aac")
    assert abs(float(picture["start_time"])) < 0.05 and abs(float(sound["start_time"])) < 0.05
    assert abs(float(picture["duration"]) - float(sound["duration"])) < 0.15
    frames = _ffprobe(video, "-select_streams", "v:0", "-show_entries", "frame=pts_time")["frames"]
    times = np.array([float(f["pts_time"]) for f in frames])
    assert len(times) > 100 and (np.diff(times) > 0).all()


def test_the_video_starts_while_it_loads(lesson: Lesson) -> None:
    """The index lies before the pictures (ISO/IEC 14496-12: top-level boxes `moov` and `mdat`)."""
    data = (lesson.folder / "lesson.mp4").read_bytes()
    order, at = [], 0
    while at + 8 <= len(data):
        size, kind = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        if size == 1:
            size = int.from_bytes(data[at + 8 : at + 16], "big")
        order.append(kind)
        at += size or len(data)
    assert order.index(b"moov") < order.index(b"mdat")


def _seconds(clock: str) -> int:
    total = 0
    for part in clock.split(":"):
        total = total * 60 + int(part)
    return total


def test_chapters_agree_everywhere(lesson: Lesson) -> None:
    """The chapters inside the video, in chapters.vtt and in chapters.txt are the same, from 0 and without gaps."""
    inside = _ffprobe(lesson.folder / "lesson.mp4", "-show_chapters")["chapters"]
    file = webvtt.read(str(lesson.folder / "chapters.vtt"))
    lines = [line.split(" ", 1) for line in (lesson.folder / "chapters.txt").read_text().splitlines()]
    assert len(inside) == len(file) == len(lines) >= 2
    assert [c["tags"]["title"] for c in inside] == [title for _, title in lines]
    assert [float(c["start_time"]) for c in inside] == pytest.approx(
        [c.start_in_seconds for c in file], abs=1.0
    )
    assert [_seconds(clock) for clock, _ in lines] == [int(float(c["start_time"]) + 1e-3) for c in inside]
    assert float(inside[0]["start_time"]) == 0
    ends, starts = [float(c["end_time"]) for c in inside[:-1]], [float(c["start_time"]) for c in inside[1:]]
    assert ends == pytest.approx(starts, abs=0.05)


def test_captions_agree_by_two_readers(lesson: Lesson) -> None:
    """webvtt-py and pysrt read the same captions, in order, within the video."""
    length_s = float(_ffprobe(lesson.folder / "lesson.mp4", "-show_format")["format"]["duration"])
    vtt = webvtt.read(str(lesson.folder / "lesson.vtt"))
    srt = pysrt.open(str(lesson.folder / "lesson.srt"))
    assert len(vtt) == len(srt) > 2
    a = [(c.start_in_seconds, c.end_in_seconds) for c in vtt]
    b = [(s.start.ordinal / 1000, s.end.ordinal / 1000) for s in srt]
    assert np.allclose(a, b, atol=1.0)
    assert all(start < end <= length_s + 0.05 for start, end in b)
    assert all(e <= s + 1e-3 for (_, e), (s, _) in itertools.pairwise(b))
    assert [" ".join(c.text.split()) for c in vtt] == [" ".join(s.text.split()) for s in srt]
    spoken = " ".join(" ".join(c.text.split()) for c in vtt)
    assert "three rails" in spoken


def test_tables_and_pictures_open(lesson: Lesson) -> None:
    """shots.csv has a line a shot; top view and stills are pictures; the top view has the table's proportions."""
    with (lesson.folder / "shots.csv").open(newline="", encoding="utf-8-sig") as f:
        assert len(list(csv.DictReader(f))) == 2
    top = cv2.imread(str(lesson.folder / "top-view.png"))
    assert top is not None and top.shape[1] / top.shape[0] == pytest.approx(2740 / 1470, abs=0.05)
    stills = sorted((lesson.folder / "stills").glob("*.png"))
    assert len(stills) >= 2 * 2
    assert all(cv2.imread(str(p)) is not None for p in stills)
    assert "0:00" in (lesson.folder / "description.md").read_text()


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing."""


@pytest.fixture(scope="module")
def address(lesson: Lesson) -> Iterator[str]:
    """The lesson folder on a local address, as a browser needs it for <track>."""
    page = (
        "<!doctype html><meta charset=utf-8><title>t</title><video muted src=lesson.mp4>"
        "<track kind=captions src=lesson.vtt><track kind=chapters src=chapters.vtt></video>"
    )

    class Handler(_Quiet):
        def do_GET(self) -> None:
            """The page made here, or a file of the lesson."""
            if self.path != "/play":
                super().do_GET()
                return
            self.send_response(200)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            self.end_headers()
            self.wfile.write(page.encode())

    server = ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Handler, directory=str(lesson.folder)))
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Debian's Chromium, headless."""
    from playwright.sync_api import sync_playwright

    quiet = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
             "--disable-sync", "--no-first-run", "--autoplay-policy=no-user-gesture-required"]  # fmt: skip
    with sync_playwright() as p:
        chromium = p.chromium.launch(executable_path="/usr/bin/chromium", args=quiet)
        yield chromium
        chromium.close()


def test_chromium_plays_it_with_captions_and_chapters(lesson: Lesson, address: str, browser: Any) -> None:
    """Chromium plays the video without an error and reads as many captions and chapters as were written."""
    page = browser.new_page()
    page.goto(f"{address}/play")
    found = page.evaluate(
        """async () => {
            const v = document.querySelector('video');
            for (const t of v.textTracks) t.mode = 'hidden';
            await v.play();
            await new Promise(r => setTimeout(r, 2500));
            v.pause();
            return {
                error: v.error && v.error.message, at: v.currentTime, size: [v.videoWidth, v.videoHeight],
                shown: v.getVideoPlaybackQuality().totalVideoFrames,
                ready: [...document.querySelectorAll('track')].map(t => t.readyState),
                cues: [...v.textTracks].map(t => [...t.cues].map(c => [c.startTime, c.endTime])),
            };
        }"""
    )
    page.close()
    assert found["error"] is None and found["at"] > 0.5 and found["shown"] > 5
    assert found["ready"] == [2, 2]  # HTMLTrackElement: 2 is loaded, 3 is an error
    captions, chapters = found["cues"]
    written = pysrt.open(str(lesson.folder / "lesson.srt"))
    assert np.allclose(captions, [(s.start.ordinal / 1000, s.end.ordinal / 1000) for s in written], atol=2e-3)
    assert len(chapters) == len((lesson.folder / "chapters.txt").read_text().splitlines())


def test_the_report_needs_no_network(lesson: Lesson, browser: Any) -> None:
    """The report opens from disk, asks nothing of the network, and shows its pictures."""
    page = browser.new_page()
    asked: list[str] = []
    errors: list[str] = []
    page.on("request", lambda r: asked.append(r.url))
    page.on("pageerror", lambda e: errors.append(str(e)))
    page.goto((lesson.folder / "report.html").as_uri())
    broken = page.evaluate("[...document.images].filter(i => !i.complete || !i.naturalWidth).map(i => i.src)")
    text = page.inner_text("body")
    page.close()
    assert not errors and not broken
    assert all(url.startswith(("file:", "data:", "blob:")) for url in asked)
    assert "The greedy one and the safe one" in text


def test_a_changed_note_watches_nothing_again(lesson: Lesson, tmp_path: Path) -> None:
    """With another note in the same folder, what was seen stays to the digit and the footage is not watched."""
    notes = tmp_path / "notes.txt"
    notes.write_text(NOTES.replace("6 in the foot-left", "8 in the foot-left"))
    before = lesson.analysis()["shots"]
    kept = (lesson.folder / "analysis.json").read_bytes()
    ran = script("analyse", lesson.clip, "--notes", notes, "--out", lesson.folder)
    after = lesson.analysis()["shots"]
    (lesson.folder / "analysis.json").write_bytes(kept)
    assert ran.status == 0 and "watched before" in ran.err
    seen = ("strike_s", "rest_s", "layout_before", "layout_after", "cue_path", "paths", "events")
    assert [[s[k] for k in seen] for s in before] == [[s[k] for k in seen] for s in after]
    assert (before[1]["plan"]["ball"], after[1]["plan"]["ball"]) == (6, 8)


def test_a_killed_render_harms_nothing(lesson: Lesson, tmp_path: Path) -> None:
    """Killed without warning in the midst of rendering, the lesson of the run before is still whole."""
    out, notes = tmp_path / "lesson", tmp_path / "notes.txt"
    shutil.copytree(lesson.folder, out)
    notes.write_text(NOTES)
    before = {p.name: p.read_bytes() for p in out.iterdir() if p.suffix == ".mp4"}
    job = subprocess.Popen(
        [str(SCRIPT), "make", str(lesson.clip), "--notes", str(notes), "--out", str(out)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    deadline = time.monotonic() + 120
    while not list(out.glob(".lesson*.mp4")) and job.poll() is None and time.monotonic() < deadline:
        time.sleep(0.02)
    assert job.poll() is None, "the job ended before it could be killed"
    job.kill()
    job.wait()
    assert {p.name: p.read_bytes() for p in out.iterdir() if p.name in before} == before
    again = script("analyse", lesson.clip, "--notes", notes, "--out", out)
    assert again.status == 0 and "watched before" in again.err

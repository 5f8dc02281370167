"""Captions and chapters as a browser's own WebVTT parser reads them."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from lessonkit.lesson.cutlist import CutList
from lessonkit.lesson.cutting import build_cuts
from lessonkit.publish import caption_files, chapter_files
from tests.lesson.made import rack
from tests.publish.browser import open_page, served

PAGE = """<!doctype html><meta charset="utf-8"><title>t</title><video>
<track kind="captions" src="lesson.vtt" srclang="en"><track kind="chapters" src="chapters.vtt" srclang="en"></video>"""
READ = """async () => {
  const all = [];
  for (const t of document.querySelectorAll('track')) {
    const done = new Promise((ok, no) => { t.onload = ok; t.onerror = () => no(new Error('not parsed: ' + t.src)); });
    t.track.mode = 'hidden';
    await done;
    all.push([...t.track.cues].map(c => [c.startTime, c.endTime, c.getCueAsHTML().textContent]));
  }
  return all;
}"""
TEXTS: list[str | None] = [
    "0:05 The nine in the foot-left corner --> draw <b>& left</b> side, a whole tip; back to the middle for the four.",
    "ضع الكرة التاسعة في الزاوية، ثم ارجع إلى الوسط ببطء. שלום, the four next.",
    "Stop it dead 🎱👩‍👩‍👧‍👦: 1 < 2 && 3 > 2 &amp; NOTE this\n\n00:01.000 --> 00:02.000\nSTYLE",
    None,
]


@pytest.fixture(scope="module")
def lesson(tmp_path_factory: pytest.TempPathFactory) -> tuple[CutList, list[Any]]:
    """A lesson's tracks, and what Chromium made of them."""
    folder: Path = tmp_path_factory.mktemp("tracks")
    cuts = build_cuts(rack(TEXTS))
    caption_files.write(cuts, folder)
    chapter_files.write(cuts, folder)
    (folder / "page.html").write_text(PAGE, encoding="utf-8")
    with served(folder) as address, open_page() as page:
        page.goto(f"{address}/page.html")
        return cuts, page.evaluate(READ)


def test_chromium_reads_each_caption(lesson: tuple[CutList, list[Any]]) -> None:
    """All of them, with the same times and the very same words."""
    cuts, (read, _) = lesson
    assert [c[2] for c in read] == [c.text for c in cuts.cues]
    for (start, end, _), made in zip(read, cuts.cues, strict=True):
        assert (start, end) == pytest.approx((made.start_s, made.end_s), abs=0.0006)


def test_chromium_reads_each_chapter(lesson: tuple[CutList, list[Any]]) -> None:
    """All of them, consecutive, with their titles."""
    cuts, (_, read) = lesson
    assert [c[2] for c in read] == [c.title for c in cuts.chapters]
    assert all(a[1] == b[0] for a, b in pairwise(read))


AT = """async ([src, times]) => {
  const v = document.querySelector('video');
  v.src = URL.createObjectURL(await (await fetch(src)).blob());  // our little server gives no ranges to seek in
  await new Promise((ok, no) => { v.onloadeddata = ok; v.onerror = () => no(new Error('video')); });
  const tracks = [...document.querySelectorAll('track')];
  await Promise.all(tracks.map(t => new Promise(ok => { t.onload = ok; t.track.mode = 'hidden'; if (t.readyState === 2) ok(); })));
  const out = [];
  for (const s of times) {
    await new Promise(ok => { v.onseeked = ok; v.currentTime = s; });
    await new Promise(ok => setTimeout(ok, 60));
    out.push([v.currentTime, ...tracks.map(t => [...(t.track.activeCues || [])].map(c => c.getCueAsHTML().textContent))]);
  }
  return out;
}"""


def test_chromium_shows_the_right_caption_and_chapter_at_ten_random_times(tmp_path: Path) -> None:
    """A film as long as the lesson is sought to ten times; the active cues are those of the cut list at that time."""
    cuts = build_cuts(rack(TEXTS))
    caption_files.write(cuts, tmp_path)
    chapter_files.write(cuts, tmp_path)
    (tmp_path / "page.html").write_text(PAGE, encoding="utf-8")
    with av.open(str(tmp_path / "film.mp4"), "w") as container:
        stream = container.add_stream("libx264", rate=2, options={"g": "2", "preset": "ultrafast"})
        stream.width, stream.height, stream.pix_fmt = 64, 36, "yuv420p"
        frame = av.VideoFrame.from_ndarray(np.zeros((54, 64), np.uint8), format="yuv420p")
        for k in range(round(cuts.duration_s * 2) + 2):
            frame.pts = k
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    times = [float(t) for t in np.random.default_rng(14).uniform(0.0, cuts.duration_s - 0.2, 10)]
    with served(tmp_path) as address, open_page() as page:
        page.goto(f"{address}/page.html")
        read = page.evaluate(AT, [f"{address}/film.mp4", times])
    for wanted_s, (at_s, captions, chapters) in zip(times, read, strict=True):
        assert at_s == pytest.approx(wanted_s, abs=0.001)
        assert captions == [c.text for c in cuts.cues if c.start_s <= wanted_s < c.end_s]
        assert chapters == [c.title for c in cuts.chapters if c.start_s <= wanted_s < c.end_s]
    assert any(captions for _, captions, _ in read)

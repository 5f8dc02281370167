"""Chapters as WebVTT (kind=chapters) and as lines to paste into a video's description."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from lessonkit.folder import write_text
from lessonkit.lesson.captions import plain
from lessonkit.lesson.chapters import platform_caution
from lessonkit.lesson.cutlist import Chapter, CutList
from lessonkit.publish.caption_files import vtt

VTT_NAME = "chapters.vtt"
LINES_NAME = "chapters.txt"
UNTITLED = "Untitled"


def clock(t_s: float, hours: bool = False) -> str:
    """'0:00', '12:05', and '1:02:03' from an hour on or where `hours` asks for it; part seconds are cut off."""
    s = int(max(0.0, t_s) + 1e-6)
    if hours or s >= 3600:
        return f"{s // 3600}:{s // 60 % 60:02}:{s % 60:02}"
    return f"{s // 60}:{s % 60:02}"


def chapter_lines(chapters: Sequence[Chapter]) -> str:
    """One line a chapter, '0:00 Title', ready to paste; the first at 0:00."""
    return "".join(f"{clock(c.start_s)} {plain(c.title) or UNTITLED}\n" for c in chapters)


def write_chapter_vtt(chapters: Sequence[Chapter], path: Path) -> None:
    """Write chapters.vtt: consecutive cues with one-line titles, for <track kind="chapters">."""
    write_text(path, vtt((c.start_s, c.end_s, plain(c.title) or UNTITLED) for c in chapters))


def write_chapter_lines(chapters: Sequence[Chapter], path: Path) -> str | None:
    """Write chapters.txt; return one sentence where a platform may not take the lines as chapters, else None."""
    write_text(path, chapter_lines(chapters))
    return platform_caution(chapters)


def write(cuts: CutList, folder: Path) -> str | None:
    """Write both files into a lesson folder; returns what `write_chapter_lines` returns."""
    write_chapter_vtt(cuts.chapters, folder / VTT_NAME)
    return write_chapter_lines(cuts.chapters, folder / LINES_NAME)

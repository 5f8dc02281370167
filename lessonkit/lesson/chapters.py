"""Chapters of a lesson: one for each shot where it is long enough, cards and short shots joined to a neighbour.

Video platforms take chapters from a description only when the first starts at 0:00, there are at least three, and
each lasts at least 10 s (shared/captions.toml, chapters.platform).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from lessonkit.lesson.cutlist import Chapter, Piece
from lessonkit.lesson.phrases import chapter_title
from lessonkit.model import Shot

MIN_CHAPTER_S = 10.0
MIN_CHAPTERS = 3
INTRODUCTION = "Introduction"
CLOSING = "All shots in one table"
NEXT_TIME = "Next time"
_LONGEST_TITLE = 90
_HAIR_S = 1e-6


@dataclass(frozen=True)
class _Part:
    """What may be a chapter by itself: a shot's pieces, or a card."""

    kind: str
    shot: int | None
    start_s: float
    end_s: float


def _parts(pieces: Sequence[Piece]) -> list[_Part]:
    out: list[_Part] = []
    for p in pieces:
        if out and p.shot is not None and out[-1].shot == p.shot:
            out[-1] = _Part(out[-1].kind, p.shot, out[-1].start_s, p.end_s)
        else:
            out.append(_Part("shot" if p.shot is not None else p.kind, p.shot, p.start_s, p.end_s))
    return out


def _title(parts: Sequence[_Part], shots: dict[int, Shot]) -> str:
    """Named by its shots; by its card if it has none."""
    numbers = [p.shot for p in parts if p.shot is not None]
    if not numbers:
        kinds = [p.kind for p in parts]
        if kinds[0] == "title" or parts[0].start_s == 0:
            return INTRODUCTION
        return CLOSING if "table" in kinds else NEXT_TIME
    if len(numbers) == 1:
        return chapter_title(shots[numbers[0]])
    span = f"Shots {numbers[0]}–{numbers[-1]}"
    named = [chapter_title(shots[n]).partition(": ")[2] for n in numbers]
    long = f"{span}: {'; '.join(w for w in named if w)}"
    return long if any(named) and len(long) <= _LONGEST_TITLE else span


def build_chapters(pieces: Sequence[Piece], shots: Sequence[Shot]) -> tuple[Chapter, ...]:
    """As many chapters of at least MIN_CHAPTER_S as the pieces allow, consecutive from 0 to the end.

    A whole lesson shorter than that is one chapter: see `platform_caution`.
    """
    groups: list[list[_Part]] = []
    open_group: list[_Part] = []
    for part in _parts(pieces):
        open_group.append(part)
        if part.end_s - open_group[0].start_s >= MIN_CHAPTER_S - _HAIR_S:
            groups.append(open_group)
            open_group = []
    if open_group and groups:
        groups[-1] += open_group
    elif open_group:
        groups.append(open_group)
    by_number = {s.seen.number: s for s in shots}
    # The end is the next one's start to the last bit, which a sum of floats need not be.
    ends = [g[0].start_s for g in groups[1:]] + [groups[-1][-1].end_s] if groups else []
    return tuple(Chapter(_title(g, by_number), g[0].start_s, e) for g, e in zip(groups, ends, strict=True))


def platform_caution(chapters: Sequence[Chapter]) -> str | None:
    """One sentence where a video platform would not take these chapters from a description, else None."""
    if len(chapters) < MIN_CHAPTERS:
        return (
            f"The lesson is too short for {MIN_CHAPTERS} chapters of {MIN_CHAPTER_S:.0f} s, so a video platform "
            "may not show these times as chapters."
        )
    return None

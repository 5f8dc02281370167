"""From pieces without a place to the cut list: each in whole frames, its captions within it, chapters over all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from lessonkit.lesson.captions import (
    MAX_LINE_CHARS,
    MAX_LINES,
    MIN_GAP_S,
    cue_frames,
    measure,
    place_within,
    plain,
    split_cues,
    spoken_frames,
)
from lessonkit.lesson.chapters import build_chapters
from lessonkit.lesson.cutlist import (
    Chapter,
    Cue,
    CutList,
    Draft,
    LeftOut,
    Piece,
    PieceKind,
    frames_for,
    frames_in,
    seconds,
)
from lessonkit.lesson.phrases import chapter_title
from lessonkit.model import Shot

USUAL_S: dict[PieceKind, float] = {
    "title": 4.0,
    "plan": 3.0,
    "result": 3.0,
    "table": 5.0,
    "next": 4.0,
    "clip": 1.0,
}
"""How long a still or card stands for which nothing is said and nothing set."""
BREATH_S = 0.4
"""How long a still stands on after the last word spoken with it (our own choice)."""
MOVING: frozenset[PieceKind] = frozenset({"play", "replay", "skip", "clip"})
"""Pieces that show footage, or a clip of the person's own, as it runs."""


@dataclass(frozen=True)
class _Laid:
    """A draft in whole frames; cues as (first frame within it, frames, text)."""

    frames: int
    cues: tuple[tuple[int, int, str], ...] = ()
    source_start_s: float | None = None
    source_end_s: float | None = None


def caption_texts(draft: Draft) -> tuple[str, ...]:
    """The captions of a draft, one after the other; none holds words of two lines of what is said."""
    if draft.captions is not None:
        return tuple(cue for c in draft.captions for cue in ([c] if _fits(c) else split_cues(c)))
    return tuple(cue for line in draft.say.split("\n") for cue in split_cues(line))


def _fits(caption: str) -> bool:
    """Whether a caption of the person's own can be shown as it is broken."""
    lines = caption.split("\n")
    return len(lines) <= MAX_LINES and all(plain(x) == x and 0 < measure(x) <= MAX_LINE_CHARS for x in lines)


def _still(draft: Draft, rate: Fraction, since_cue: int | None) -> _Laid:
    """As long as its words, which start at once, or after the least gap where a caption ended a moment ago."""
    least_s = draft.lasts_s if draft.lasts_s is not None else USUAL_S[draft.kind]
    least_s = max([least_s, *(v.at_s + v.duration_s + BREATH_S for v in draft.voice)])
    texts = caption_texts(draft)
    if draft.captions_at_s is not None and len(draft.captions_at_s) == len(texts):
        cues = spoken_frames(texts, draft.captions_at_s, rate, since_cue)
        end = cues[-1][0] + cues[-1][1] if cues else 0
        return _Laid(max(1, end, frames_for(least_s, rate)), cues, draft.source_start_s)
    first = frames_for(draft.say_at_s, rate)
    gap = frames_for(MIN_GAP_S, rate)
    if since_cue is not None and 0 < since_cue + first < gap:
        first = gap - since_cue
    frames = cue_frames(texts, rate, least_s - float(first / rate))
    length = max(1, first + sum(frames) if texts else 0, frames_for(least_s, rate))
    starts = [first + sum(frames[:i]) for i in range(len(frames))]
    return _Laid(length, tuple(zip(starts, frames, texts, strict=True)), draft.source_start_s)


def _moving(draft: Draft, rate: Fraction, since_cue: int | None) -> _Laid:
    """Footage as it runs, with one caption, or those spoken over it, if there is time to read them."""
    start_s = draft.source_start_s or 0.0
    end_s = max(start_s, draft.source_end_s if draft.source_end_s is not None else start_s)
    frames = max(1, frames_in((end_s - start_s) / draft.speed, rate))
    # Footage that breaks off before the strike leaves its last frame to show.
    start_s = max(0.0, min(start_s, end_s - seconds(frames, rate) * draft.speed))
    texts = caption_texts(draft)
    cues: tuple[tuple[int, int, str], ...] = ()
    if draft.captions_at_s is not None and len(draft.captions_at_s) == len(texts):
        spoken = spoken_frames(texts, draft.captions_at_s, rate, since_cue)
        cues = tuple(c for c in spoken if c[0] + c[1] <= frames)
    elif len(texts) == 1:
        place = place_within(texts[0], frames_for(draft.say_at_s, rate), frames, rate)
        cues = ((*place, texts[0]),) if place is not None else ()
    elif texts:
        cues = _one_after_the_other(texts, frames_for(draft.say_at_s, rate), frames, rate)
    return _Laid(frames, cues, start_s, start_s + seconds(frames, rate) * draft.speed)


def _one_after_the_other(
    texts: tuple[str, ...], wanted: int, length: int, rate: Fraction
) -> tuple[tuple[int, int, str], ...]:
    """Captions in a moving piece from frame `wanted` on, or a moment later; only those that end within it."""
    at = max(wanted, frames_for(MIN_GAP_S, rate))
    cues: list[tuple[int, int, str]] = []
    for text, frames in zip(texts, cue_frames(texts, rate, 0.0), strict=True):
        if at + frames > length:
            break
        cues.append((at, frames, text))
        at += frames
    return tuple(cues)


def left_unsaid(drafts: Sequence[Draft], cuts: CutList) -> tuple[int, ...]:
    """Which drafts (counted from 1) have captions for which their moving piece is too short."""
    shown = iter(cuts.pieces)
    short = []
    for n, d in enumerate(drafts, 1):
        if d.kind == "skip" and d.speed <= 0:
            continue
        p = next(shown)
        inside = sum(p.start_s - 1e-6 <= c.start_s < p.end_s - 1e-6 for c in cuts.cues)
        if inside < len(caption_texts(d)):
            short.append(n)
    return tuple(short)


def _piece(draft: Draft, laid: _Laid, at: int, rate: Fraction) -> Piece:
    return Piece(
        draft.kind, seconds(at, rate), seconds(laid.frames, rate), draft.shot, laid.source_start_s, laid.source_end_s,
        draft.speed, draft.steps, draft.say, draft.headline, draft.text, draft.file,
        draft.voice,
    )  # fmt: skip


def lay_out(drafts: Sequence[Draft], rate: Fraction, shots: Sequence[Shot]) -> CutList:
    """Put pieces one after the other, in whole frames of `rate`, with captions and chapters.

    A skip of speed 0 is left out and named as such. Nothing else is dropped; a moving piece lasts at least a frame.
    """
    pieces: list[Piece] = []
    cues: list[Cue] = []
    left_out: list[LeftOut] = []
    at, cue_end = 0, None
    for d in drafts:
        if d.kind == "skip" and d.speed <= 0:
            left_out.append(LeftOut(seconds(at, rate), d.source_start_s or 0.0, d.source_end_s or 0.0))
            continue
        since_cue = None if cue_end is None else at - cue_end
        laid = _moving(d, rate, since_cue) if d.kind in MOVING else _still(d, rate, since_cue)
        pieces.append(_piece(d, laid, at, rate))
        cues += [Cue(seconds(at + a, rate), seconds(at + a + n, rate), text) for a, n, text in laid.cues]
        if laid.cues:
            cue_end = at + laid.cues[-1][0] + laid.cues[-1][1]
        at += laid.frames
    return CutList(tuple(pieces), build_chapters(pieces, shots), tuple(cues), tuple(left_out))


def of_shot(cuts: CutList, shot: Shot) -> tuple[CutList, tuple[int, ...]]:
    """One shot's pieces as a lesson of its own, from 0 and in one chapter; and which pieces of the whole they are."""
    which = tuple(k for k, p in enumerate(cuts.pieces) if p.shot == shot.seen.number)
    pieces: list[Piece] = []
    cues: list[Cue] = []
    at = 0.0
    for k in which:
        p = cuts.pieces[k]
        pieces.append(replace(p, start_s=at))
        inside = [c for c in cuts.cues if p.start_s - 1e-6 <= c.start_s < p.end_s - 1e-6]
        cues += [
            replace(c, start_s=at + c.start_s - p.start_s, end_s=at + c.end_s - p.start_s) for c in inside
        ]
        at += p.duration_s
    chapters = (Chapter(chapter_title(shot), 0.0, at),) if pieces else ()
    return CutList(tuple(pieces), chapters, tuple(cues)), which

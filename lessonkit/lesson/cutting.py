"""From an analysis to the cut list: title card, then for each shot the plan, the play and the result, closing table.

All times are whole frames of `output_rate`, so pieces meet without gaps in the video as in the list.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from lessonkit.lesson.captions import MIN_GAP_S, cue_frames, place_within, said, split_cues
from lessonkit.lesson.chapters import build_chapters
from lessonkit.lesson.cutlist import (
    Cue,
    CutList,
    Piece,
    PieceKind,
    frames_for,
    frames_in,
    output_rate,
    seconds,
)
from lessonkit.lesson.phrases import outcome, plan_sentences
from lessonkit.model import Analysis, Footage, Note, SeenShot, Shot

LEAD_S = 0.7
"""Footage before the strike."""
TAIL_S = 0.6
"""Footage after everything rests."""
STILL_MIN_S = 3.0
TITLE_S = 4.0
TABLE_MIN_S = 5.0
TABLE_S_PER_SHOT = 1.5
TABLE_MAX_S = 20.0


@dataclass(frozen=True)
class _Take:
    """A piece not yet in its place; cues as (first frame within it, frames, text)."""

    kind: PieceKind
    frames: int
    shot: int | None = None
    source_start_s: float | None = None
    source_end_s: float | None = None
    cues: tuple[tuple[int, int, str], ...] = ()


def _still(
    kind: PieceKind, number: int, source_s: float, texts: tuple[str, ...], rate: Fraction, silent: int = 0
) -> _Take:
    """A still that lasts as long as its words, which start after `silent` frames, and STILL_MIN_S."""
    frames = cue_frames(texts, rate, STILL_MIN_S)
    starts = [silent + sum(frames[:i]) for i in range(len(frames))]
    length = max(silent + sum(frames), frames_for(STILL_MIN_S, rate))
    cues = tuple(zip(starts, frames, texts, strict=True))
    return _Take(kind, length, number, source_s, None, cues)


def play_span(
    shot: SeenShot, before: SeenShot | None, after: SeenShot | None, footage: Footage
) -> tuple[float, float]:
    """Footage times at which the play of a shot starts and ends, seconds.

    From LEAD_S before the strike (not before the shot before it rests) to TAIL_S after rest (not past the footage or
    the next strike). Always start <= end, within the footage.
    """
    start = max(0.0, shot.strike_s - LEAD_S)
    if before is not None:
        start = max(start, min(before.rest_s, shot.strike_s))
    end = shot.rest_s + TAIL_S
    if after is not None:
        end = min(end, after.strike_s)
    end = min(end, footage.duration_s)
    return min(start, end), end


def _split(texts: list[str]) -> tuple[str, ...]:
    """Cues of several texts, none of which holds words of two texts."""
    return tuple(cue for text in texts for cue in split_cues(text))


def _is_remark(note: Note, shot: Shot) -> bool:
    """Whether a further note looks back on the shot rather than ahead."""
    return not note.intent.plan_b and note.t_s is not None and note.t_s > shot.seen.strike_s


def _plan_texts(shot: Shot) -> list[str]:
    texts = [said(shot.note.text)] if shot.note else []
    texts += [said(n.text) for n in shot.more_notes if not _is_remark(n, shot)]
    texts = [t for t in texts if t]
    return texts or ([plan_sentences(shot)] if shot.plan and plan_sentences(shot) else [])


def _result_texts(shot: Shot) -> list[str]:
    sentence = shot.comparison.sentence if shot.comparison else None
    remarks = [said(n.text) for n in shot.more_notes if _is_remark(n, shot)]
    return [t for t in (sentence, *remarks) if t]


def _play(shot: Shot, span: tuple[float, float], rate: Fraction) -> _Take:
    """The shot at full speed, with one short caption of what happened if there is time to read it."""
    start_s, end_s = span
    frames = max(1, frames_in(end_s - start_s, rate))
    # Footage that breaks off before the strike leaves its last frame to show.
    start_s = max(0.0, min(start_s, end_s - seconds(frames, rate)))
    cues: tuple[tuple[int, int, str], ...] = ()
    happened = outcome(shot.seen)
    if happened:
        texts = split_cues(happened.words)
        place = (
            place_within(texts[0], frames_for(happened.t_s - start_s, rate), frames, rate) if texts else None
        )
        if place is not None and len(texts) == 1:
            cues = ((*place, texts[0]),)
    return _Take("play", frames, shot.seen.number, start_s, start_s + seconds(frames, rate), cues)


def _shot_takes(shot: Shot, span: tuple[float, float], rate: Fraction) -> list[_Take]:
    e = shot.seen
    takes = []
    if shot.note is not None or shot.plan is not None:
        at = e.clear_before_s if e.clear_before_s is not None else e.strike_s
        takes.append(_still("plan", e.number, at, _split(_plan_texts(shot)), rate))
    takes.append(_play(shot, span, rate))
    results = _result_texts(shot)
    if shot.comparison is not None or results:
        at = e.clear_after_s if e.clear_after_s is not None else e.rest_s
        # A play of less than the least gap between captions (footage that breaks off) leaves the rest of it here.
        silent = max(0, frames_for(MIN_GAP_S, rate) - takes[-1].frames) if not takes[-1].cues else 0
        takes.append(_still("result", e.number, at, _split(results), rate, silent))
    return takes


def _placed(takes: list[_Take], rate: Fraction) -> tuple[tuple[Piece, ...], tuple[Cue, ...]]:
    pieces, cues, at = [], [], 0
    for t in takes:
        start_s = seconds(at, rate)
        pieces.append(
            Piece(t.kind, start_s, seconds(t.frames, rate), t.shot, t.source_start_s, t.source_end_s)
        )
        cues += [Cue(seconds(at + a, rate), seconds(at + a + n, rate), text) for a, n, text in t.cues]
        at += t.frames
    return tuple(pieces), tuple(cues)


def build_cuts(analysis: Analysis) -> CutList:
    """The whole lesson of an analysis: pieces, chapters and captions.

    A shot without note and plan has no plan still, one without comparison and remarks no result still. The closing
    table is left out where there is no shot.
    """
    rate = output_rate(analysis.footage)
    takes = [_Take("title", frames_for(TITLE_S, rate))]
    seen = [s.seen for s in analysis.shots]
    for i, shot in enumerate(analysis.shots):
        before = seen[i - 1] if i else None
        after = seen[i + 1] if i + 1 < len(seen) else None
        takes += _shot_takes(shot, play_span(shot.seen, before, after, analysis.footage), rate)
    if seen:
        table_s = min(max(2.0 + TABLE_S_PER_SHOT * len(seen), TABLE_MIN_S), TABLE_MAX_S)
        takes.append(_Take("table", frames_for(table_s, rate)))
    pieces, cues = _placed(takes, rate)
    return CutList(pieces, build_chapters(pieces, analysis.shots), cues)

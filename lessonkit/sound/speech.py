"""Where somebody speaks in a recording, told from its loudness alone; and which words are spoken when.

No words are recognised: the words are the person's own notes, laid over the time in which there is speech.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from lessonkit.sound.recording import LEVELS_PER_S, Levels

SHORTEST_S = 0.12
"""A click of balls is over sooner; a word is not."""
PAUSE_S = 0.2
"""Shorter gaps are between syllables."""
ONSET_S = 0.08
"""Kept before and after what is loud enough, because words begin and end softly."""
SNAP_S = 0.8
"""A caption changes at a pause that is no further from where it should (BBC Subtitle Guidelines, 5.2: 1.5 s at most)."""
_QUIET, _LOUD = 10, 95
_RANGE_DB = 50.0
_AT = 0.4
"""Speech is what lies above this share of the way from the quiet to the loud level, in dB."""
_FLAT_DB = 6.0
"""A recording whose loud parts are no louder than this over its quiet ones holds no speech that could be told."""
_FAINTEST_DB = -65.0


@dataclass(frozen=True)
class Span:
    """Recording time from and to which somebody speaks without a pause."""

    start_s: float
    end_s: float


def speech(levels: Levels) -> tuple[Span, ...]:
    """Stretches of speech, ascending, PAUSE_S or more apart; empty where nothing stands out."""
    if not len(levels):
        return ()
    quiet, loud = (float(v) for v in np.percentile(levels, (_QUIET, _LOUD)))
    loud = max(loud, float(np.max(levels)) - 20.0)  # a word or two in a long silence
    quiet = max(quiet, loud - _RANGE_DB)
    if loud < _FAINTEST_DB:
        return ()
    if loud - quiet < _FLAT_DB:
        # Somebody who never pauses, or steady noise: loudness cannot tell them apart, so all of it is kept.
        return (Span(0.0, len(levels) / LEVELS_PER_S),)
    on = np.concatenate([[False], levels > quiet + _AT * (loud - quiet), [False]])
    edges = np.flatnonzero(on[1:] != on[:-1]) / LEVELS_PER_S
    spans: list[Span] = []
    for a, b in edges.reshape(-1, 2):
        if spans and a - spans[-1].end_s < PAUSE_S:
            spans[-1] = Span(spans[-1].start_s, float(b))
        else:
            spans.append(Span(float(a), float(b)))
    end = len(levels) / LEVELS_PER_S
    return tuple(
        Span(max(0.0, s.start_s - ONSET_S), min(end, s.end_s + ONSET_S))
        for s in spans
        if s.end_s - s.start_s >= SHORTEST_S
    )


def between(spans: Sequence[Span], start_s: float, end_s: float) -> tuple[Span, ...]:
    """The parts of the spans that lie within a stretch of time."""
    cut = [Span(max(s.start_s, start_s), min(s.end_s, end_s)) for s in spans]
    return tuple(s for s in cut if s.end_s - s.start_s > 1e-6)


def nearest_pause(spans: Sequence[Span], t_s: float, within_s: float) -> float:
    """The time itself where nobody speaks; else the middle of the nearest pause within so many seconds; else itself."""
    if not any(s.start_s < t_s < s.end_s for s in spans):
        return t_s
    pauses = [(a.end_s + b.start_s) / 2 for a, b in pairwise(spans)]
    if spans:
        pauses += [spans[0].start_s, spans[-1].end_s]
    near = min(pauses, key=lambda p: abs(p - t_s), default=t_s)
    return near if abs(near - t_s) <= within_s else t_s


def spoken_at(widths: Sequence[int], spans: Sequence[Span]) -> tuple[float, ...]:
    """When each of several texts begins to be spoken, recording time.

    Speech is taken to run evenly through the texts (`widths`: their lengths in characters), pauses left out; a text
    that would begin near a pause begins after it. `spans` must not be empty.
    """
    total = max(1, sum(widths))
    lengths = [s.end_s - s.start_s for s in spans]
    out: list[float] = []
    before = 0
    for width in widths:
        at = _time_of(before / total * sum(lengths), spans, lengths)
        if before:
            starts = [b.start_s for a, b in pairwise(spans)]
            near = min(starts, key=lambda p: abs(p - at), default=at)
            at = near if abs(near - at) <= SNAP_S else at
        out.append(max(at, out[-1]) if out else spans[0].start_s)
        before += width
    return tuple(out)


def _time_of(spoken_s: float, spans: Sequence[Span], lengths: Sequence[float]) -> float:
    """The recording time by which so much has been spoken."""
    for span, length in zip(spans, lengths, strict=True):
        if spoken_s < length:
            return span.start_s + spoken_s
        spoken_s -= length
    return spans[-1].end_s

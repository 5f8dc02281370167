"""The lesson's sound, piece by piece: the footage's own while it plays, silence elsewhere (made with moviepy)."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import OpenFootage, open_footage
from lessonkit.lesson.cutlist import CutList
from lessonkit.publish.joining import SAMPLE_RATE_HZ

FADE_S = 0.008
"""Fade at both edges of a stretch of sound, so that a cut does not click."""
CHUNK = SAMPLE_RATE_HZ
PART = 20 * SAMPLE_RATE_HZ
"""Samples held at once, however long the shot."""

Samples = NDArray[np.float32]


def footage_sound(footage: OpenFootage, cuts: CutList) -> Iterator[Samples]:
    """The whole lesson's sound, in parts of shape (n, 2): the footage's own where it plays at its speed, else silence.

    The pieces' `source_start_s` must be the times of the frames shown first, so that sound and picture keep together.
    """
    given = 0
    for piece in cuts.pieces:
        until = round(Fraction(piece.end_s) * SAMPLE_RATE_HZ)
        count, given = until - given, until
        if piece.kind == "clip" and piece.file is not None:
            with open_footage(Path(piece.file)) as clip:
                yield from played(clip, piece.source_start_s or 0.0, count)
        elif piece.source_end_s is not None and piece.speed == 1.0:
            yield from played(footage, piece.source_start_s or 0.0, count)
        else:
            yield from silence(count)


def silence(count: int) -> Iterator[Samples]:
    """`count` samples of silence, in parts of shape (n, 2)."""
    for at in range(0, count, PART):
        yield np.zeros((min(PART, count - at), 2), np.float32)


def played(footage: OpenFootage, start_s: float, count: int) -> Iterator[Samples]:
    """`count` samples of the footage's sound from footage time `start_s`, faded at both ends, in parts of shape (n, 2).

    Silence where the footage has no sound, or has ended.
    """
    if not footage.has_sound:
        yield from silence(count)
        return
    for at in range(0, count, PART):
        here = min(PART, count - at)
        begin = start_s + at / SAMPLE_RATE_HZ
        sound = footage.sound(begin, begin + here / SAMPLE_RATE_HZ, SAMPLE_RATE_HZ)
        first, last = at == 0, at + here == count
        yield _faded(sound, here, first, last) if (first or last) and sound.any() else _fitted(sound, here)


def _fitted(sound: Samples, count: int) -> Samples:
    """Exactly `count` samples: cut, or silence added, where rounding made one more or fewer."""
    return np.concatenate([sound[:count], np.zeros((max(0, count - len(sound)), 2), np.float32)])


def _faded(sound: Samples, count: int, first: bool, last: bool) -> Samples:
    from moviepy import AudioArrayClip, CompositeAudioClip
    from moviepy.audio.fx import AudioFadeIn, AudioFadeOut

    # moviepy looks a sample up by its time; half a sample of shift keeps rounding from taking a neighbour
    half = 0.5 / SAMPLE_RATE_HZ
    clip = AudioArrayClip(np.asarray(sound, np.float64), fps=SAMPLE_RATE_HZ)
    fade = min(FADE_S, clip.duration / 4)
    effects = [*([AudioFadeIn(fade)] if first else []), *([AudioFadeOut(fade)] if last else [])]
    track = CompositeAudioClip([clip.with_effects(effects)])
    out = np.zeros((count, 2), np.float32)
    for at in range(0, min(count, len(sound)), CHUNK):
        times = np.arange(at, min(at + CHUNK, count, len(sound))) / SAMPLE_RATE_HZ + half
        out[at : at + len(times)] = track.get_frame(times)
    return np.clip(out, -1.0, 1.0)

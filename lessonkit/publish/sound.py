"""The lesson's sound, piece by piece: the footage's own while it plays, silence elsewhere (made with moviepy)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import OpenFootage
from lessonkit.publish.encoder import SAMPLE_RATE_HZ

FADE_S = 0.008
"""Fade at both edges of a stretch of sound, so that a cut does not click."""
CHUNK = SAMPLE_RATE_HZ

Samples = NDArray[np.float32]


def silence(count: int) -> Samples:
    """`count` samples of silence, shape (count, 2)."""
    return np.zeros((max(0, count), 2), np.float32)


def played(footage: OpenFootage, start_s: float, count: int) -> Samples:
    """`count` samples, shape (count, 2), of the footage's sound from footage time `start_s`, faded at its edges.

    Silence where the footage has no sound, or has ended.
    """
    if count <= 0 or not footage.has_sound:
        return silence(count)
    duration = count / SAMPLE_RATE_HZ
    sound = footage.sound(start_s, start_s + duration, SAMPLE_RATE_HZ)
    if not sound.any():
        return silence(count)
    return _faded(sound, count)


def _faded(sound: Samples, count: int) -> Samples:
    from moviepy import AudioArrayClip, CompositeAudioClip
    from moviepy.audio.fx import AudioFadeIn, AudioFadeOut

    # moviepy looks a sample up by its time; half a sample of shift keeps rounding from taking a neighbour
    half = 0.5 / SAMPLE_RATE_HZ
    clip = AudioArrayClip(np.asarray(sound, np.float64), fps=SAMPLE_RATE_HZ)
    fade = min(FADE_S, clip.duration / 4)
    track = CompositeAudioClip([clip.with_effects([AudioFadeIn(fade), AudioFadeOut(fade)])])
    out = silence(count)
    for at in range(0, min(count, len(sound)), CHUNK):
        times = np.arange(at, min(at + CHUNK, count, len(sound))) / SAMPLE_RATE_HZ + half
        out[at : at + len(times)] = track.get_frame(times)
    return np.clip(out, -1.0, 1.0)

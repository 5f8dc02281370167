"""Voice over the sound of the play: the play is turned down while somebody speaks, but its clicks come through.

Tip, ball and cushion are what a player listens for, and each is over in a few hundredths of a second; the hum of the
room is what would cover the words. So while somebody speaks only what is no click is turned down.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from lessonkit.sound.loudness import amplitude
from lessonkit.sound.recording import SAMPLE_RATE_HZ, Samples
from lessonkit.sound.speech import Span

FALL_S, RISE_S = 0.15, 0.5
"""How long turning down and up again take (common practice, no source)."""
GRAIN = SAMPLE_RATE_HZ // 500
"""Samples of 2 ms, in which a click is looked for."""
BLOCK = 50 * GRAIN
"""A tenth of a second is mixed at a time."""
CLICK_TIMES = 4.0
"""A click is this much louder than what was heard just before."""
CLICK_GRAINS = 20
"""A click is let through for 40 ms."""
_BEFORE = 100
"""Grains before it (0.2 s) that a click is held against."""
_FAINTEST = amplitude(-50.0)


def blocks(parts: Iterable[Samples]) -> Iterator[Samples]:
    """The same samples in parts of BLOCK, the last one shorter."""
    held: list[Samples] = []
    count = 0
    for part in parts:
        while len(part):
            taken = part[: BLOCK - count]
            held.append(taken)
            count += len(taken)
            part = part[len(taken) :]
            if count == BLOCK:
                yield np.concatenate(held)
                held, count = [], 0
    if held:
        yield np.concatenate(held)


def ducking(spans: Sequence[Span], first: int, count: int, depth_db: float) -> NDArray[np.float64]:
    """Gain of the play for samples first..first + count of the lesson, while voices are heard in `spans` (lesson time)."""
    t = (first + np.arange(count)) / SAMPLE_RATE_HZ
    spoken = np.zeros(count)
    for s in spans:
        if s.end_s + RISE_S < t[0] or s.start_s - FALL_S > t[-1]:
            continue
        down = 1 - np.maximum(s.start_s - t, 0) / FALL_S
        up = 1 - np.maximum(t - s.end_s, 0) / RISE_S
        spoken = np.maximum(spoken, np.clip(np.minimum(down, up), 0, 1))
    return np.asarray(10 ** (-depth_db * spoken / 20))


class Clicks:
    """Finds clicks in sound that comes in blocks: the share, 0-1, to which each sample is part of one."""

    def __init__(self) -> None:
        self._peaks = np.zeros(_BEFORE)
        self._left = 0
        self._last = 0.0

    def share(self, samples: Samples) -> NDArray[np.float64]:
        """Of the next samples, shape (n,)."""
        n = len(samples)
        grains = -(-n // GRAIN)
        loud = np.zeros(grains * GRAIN)
        loud[:n] = np.abs(samples).max(axis=1)
        peaks = loud.reshape(grains, GRAIN).max(axis=1)
        known = np.concatenate([self._peaks, peaks])
        before = np.median(np.lib.stride_tricks.sliding_window_view(known, _BEFORE)[:-1], axis=1)
        starts = (peaks > CLICK_TIMES * before) & (peaks > _FAINTEST)
        through = np.zeros(grains)
        for k in range(grains):
            self._left = CLICK_GRAINS if starts[k] else max(0, self._left - 1)
            through[k] = 1.0 if self._left > CLICK_GRAINS // 2 else 2 * self._left / CLICK_GRAINS
        self._peaks = known[-_BEFORE:]
        # From grain to grain in a straight line, but at once where a click sets in.
        ends = through
        begins = np.maximum(np.concatenate([[self._last], through[:-1]]), np.where(starts, 1.0, 0.0))
        self._last = float(through[-1])
        slope = np.arange(GRAIN) / GRAIN
        return np.asarray((begins[:, None] * (1 - slope) + ends[:, None] * slope).reshape(-1)[:n])


def mixed(
    play: Iterable[Samples], voice: Iterable[Samples], spans: Sequence[Span], *, depth_db: float
) -> Iterator[Samples]:
    """Both together. `spans` say when the voice is heard; both tracks must be equally long."""
    clicks = Clicks()
    at = 0
    for under, over in zip(blocks(play), blocks(voice), strict=True):
        if not under.any():  # stills are silent, and most of a lesson
            clicks = Clicks()
            yield over
            at += len(under)
            continue
        gain = ducking(spans, at, len(under), depth_db)
        if gain.min() < 1.0:
            gain = gain + (1 - gain) * clicks.share(under)
        else:
            clicks.share(under)
        yield np.asarray(under * gain[:, None] + over, np.float32)
        at += len(under)

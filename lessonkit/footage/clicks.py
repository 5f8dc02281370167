"""Clicks in the footage's sound: tip, ball and cushion; and how they sharpen times that the picture told.

The picture wins: a click only moves a time that the picture gave, by little, and only where one click alone can be meant.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

HOP_S = 0.0005
BACKGROUND_S = 0.12
"""A click rises out of what was heard this long before it; talk and music rise slowly and stay."""
RISE = 5.0
"""Times the background's level that a click reaches at least."""
REFRACTORY_S = 0.012
LEAST_PAIRS = 4
SPREAD_S = 0.006
"""Of the offsets of events that truly belong to clicks, about the one they share."""


@dataclass(frozen=True)
class Click:
    """One sudden sound."""

    t_s: float
    strength: float
    """How many times louder than what was heard before it."""


def clicks(samples: NDArray[np.floating], rate_hz: float, start_s: float = 0.0) -> list[Click]:
    """Onsets in mono (N,) or many-channel (N, C) samples of which the first is at `start_s`.

    High frequencies are raised by a difference of neighbours, as clicks have many (the idea of high-frequency content,
    Bello et al., IEEE Trans. Speech Audio 13 (2005) 1035), and the level in steps of HOP_S held against the loudest of
    the BACKGROUND_S before. No sound, no clicks.
    """
    mono = np.asarray(samples, float)
    mono = mono.mean(1) if mono.ndim == 2 else mono
    hop = max(1, round(HOP_S * rate_hz))
    n = len(mono) // hop
    back = round(BACKGROUND_S * rate_hz / hop)
    if n < back + 2:
        return []
    high = np.diff(mono, prepend=mono[0], n=1)
    level = np.sqrt((high[: n * hop].reshape(n, hop) ** 2).mean(1))
    if level.max() <= 1e-7:
        return []
    windows = np.lib.stride_tricks.sliding_window_view(level, back)[: n - back]
    # the 90 % quantile lets an earlier click of the same shot pass, but not a loud voice
    before = np.quantile(windows, 0.9, axis=1) + 1e-6
    ratio = level[back:] / before
    found: list[Click] = []
    for k in np.flatnonzero(ratio > RISE):
        t_s = start_s + (int(k) + back) * hop / rate_hz
        if not found or t_s - found[-1].t_s > REFRACTORY_S:
            found.append(Click(float(t_s), float(ratio[k])))
    return found


def stream(chunks: Iterable[NDArray[np.floating]], rate_hz: float, start_s: float = 0.0) -> Iterator[Click]:
    """The clicks of chunks that follow each other, as `clicks` tells them; never more than one chunk is held."""
    lead = round((BACKGROUND_S + 0.02) * rate_hz)
    hop = max(1, round(HOP_S * rate_hz))
    lead -= lead % hop
    kept: NDArray[np.floating] | None = None
    at, last_s = start_s, -np.inf
    for chunk in chunks:
        whole = chunk if kept is None else np.concatenate([kept, chunk])
        for c in clicks(whole, rate_hz, at):
            if c.t_s - last_s > REFRACTORY_S:
                last_s = c.t_s
                yield c
        keep = min(len(whole), lead)
        at += (len(whole) - keep) / rate_hz
        kept = whole[len(whole) - keep :]


def sound_offset_s(times_s: Sequence[float], heard: Sequence[Click], within_s: float) -> float | None:
    """By how much sound comes late against the picture, the sound's way to the microphone included.

    The offset on which most events agree to SPREAD_S; None where fewer than LEAST_PAIRS, or fewer than half, do.
    """
    at = np.array([c.t_s for c in heard])
    offs = [at[np.abs(at - t) <= within_s] - t for t in times_s]
    every = np.sort(np.concatenate(offs)) if offs and len(at) else np.zeros(0)
    if not len(every):
        return None
    votes = [sum(bool((np.abs(o - e) <= SPREAD_S).any()) for o in offs) for e in every]
    best = float(every[int(np.argmax(votes))])
    if max(votes) < max(LEAST_PAIRS, len(times_s) / 2):
        return None
    return float(np.median(every[np.abs(every - best) <= SPREAD_S]))


def sharpen(
    times_s: Sequence[float], heard: Sequence[Click], within_s: float, offset_s: float = 0.0
) -> list[float]:
    """The picture's times moved to the click they belong to, in their order; the picture's own where that is not clear.

    A time is moved only if exactly one click lies `within_s` of it, and that click is within reach of no other time.
    `offset_s` as `sound_offset_s` tells it is taken off the clicks first.
    """
    at = np.array([c.t_s for c in heard]) - offset_s
    picture = np.asarray(times_s, float)
    out = []
    for t in picture:
        near = at[np.abs(at - t) <= within_s]
        alone = len(near) == 1 and int((np.abs(picture - near[0]) <= within_s).sum()) == 1
        out.append(float(near[0]) if alone else float(t))
    return out

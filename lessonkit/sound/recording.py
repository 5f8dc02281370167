"""Sound files read in passing: stretches of stereo samples by the recording's own time, and how loud it is when.

Nothing is held but a part of a second, and for the loudness fifty numbers a second, however long the recording.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import VoiceError

SAMPLE_RATE_HZ = 48000
LEVELS_PER_S = 50
GAP_S = 0.02
"""A jump in a file's times larger than this is a gap in its sound; below it is rounding."""
FLOOR_DB = -120.0
_EARLY_S = 0.2
"""How much before the wanted place decoding begins, so that a codec that looks back has what it needs."""

Samples = NDArray[np.float32]
"""Stereo samples, shape (n, 2), full scale at 1."""
Levels = NDArray[np.float32]
"""Root mean square level of each fiftieth of a second, dB below full scale, shape (n,)."""


def silence(count: int) -> Iterator[Samples]:
    """`count` samples of silence, in parts of at most a second."""
    for at in range(0, count, SAMPLE_RATE_HZ):
        yield np.zeros((min(SAMPLE_RATE_HZ, count - at), 2), np.float32)


def stretch(
    path: Path, start_s: float, end_s: float, *, zero_s: float | None = None, speed: float = 1.0
) -> Iterator[Samples]:
    """The sound of a file from `start_s` to `end_s`, exactly round((end - start) / speed * 48000) samples in parts.

    Args:
        path: any file with a sound track; of several the first is taken. A file without any gives silence.
        zero_s: presentation time in the file that counts as 0; None: that of its first sample.
        speed: above 1 the sound runs faster and higher, below 1 slower and lower, as a tape does, so that every click
            stays with its picture.
    Silence where the file has no sound. Raises VoiceError when it cannot be read.
    """
    count = max(0, round((end_s - start_s) / speed * SAMPLE_RATE_HZ))
    given = 0
    for at, samples in _decoded(path, start_s, zero_s, speed) if count else ():
        if at >= count:
            break
        yield from silence(max(0, at - given))
        given = max(given, at)
        part = samples[max(0, given - at) : count - at]
        given += len(part)
        if len(part):
            yield part
        if given >= count:
            return
    yield from silence(count - given)


def _decoded(path: Path, start_s: float, zero_s: float | None, speed: float) -> Iterator[tuple[int, Samples]]:
    """Parts of sound from a little before `start_s`, each with the output sample, counted from `start_s`, of its first."""
    try:
        with av.open(str(path)) as container:
            if not container.streams.audio:
                return
            stream = container.streams.audio[0]
            zero = _zero_s(stream) if zero_s is None else zero_s
            want = zero + start_s - _EARLY_S
            if start_s > _EARLY_S:
                container.seek(int(want / float(stream.time_base or 1)), stream=stream, backward=True)
            yield from _placed(container.decode(stream), zero + start_s, speed)
    except (av.error.FFmpegError, OSError) as e:
        raise VoiceError(
            f"The sound of {path} cannot be read ({getattr(e, 'strerror', None) or e}); save it as WAV or M4A."
        ) from e


def _placed(frames: Iterator[Any], from_s: float, speed: float) -> Iterator[tuple[int, Samples]]:
    resampler: Any = None
    at = 0
    for frame in frames:
        if frame.pts is None:
            continue
        due = round((float(frame.pts * frame.time_base) - from_s) / speed * SAMPLE_RATE_HZ)
        length = frame.samples / frame.sample_rate / speed * SAMPLE_RATE_HZ
        if resampler is None:
            # What ends before the wanted place (and is not needed to fill the resampler) is passed over.
            if due + length < -_EARLY_S * SAMPLE_RATE_HZ:
                continue
            resampler, at, fed = _resampler(), due, float(due)
        elif abs(due - fed) > GAP_S * SAMPLE_RATE_HZ:
            for part in _samples(resampler.resample(None)):
                yield at, part
                at += len(part)
            resampler, at, fed = _resampler(), due, float(due)
        if speed != 1.0:
            frame.sample_rate = round(frame.sample_rate * speed)
        fed += length
        for part in _samples(resampler.resample(frame)):
            yield at, part
            at += len(part)
    if resampler is not None:
        for part in _samples(resampler.resample(None)):
            yield at, part
            at += len(part)


def _resampler() -> Any:
    return av.AudioResampler(format="fltp", layout="stereo", rate=SAMPLE_RATE_HZ)


def _samples(frames: list[Any]) -> Iterator[Samples]:
    for frame in frames:
        if frame.samples:
            yield np.nan_to_num(np.ascontiguousarray(frame.to_ndarray().T, np.float32))


def _zero_s(stream: Any) -> float:
    return float(Fraction(stream.start_time or 0) * stream.time_base)


def levels(path: Path, *, zero_s: float | None = None) -> Levels:
    """How loud a recording is, LEVELS_PER_S numbers for each second from its time 0; empty where it has no sound.

    Raises VoiceError when it cannot be read.
    """
    step = SAMPLE_RATE_HZ // LEVELS_PER_S
    power = np.zeros(0)
    sums: list[NDArray[np.float64]] = []
    for part in _continuous(path, zero_s):
        power = np.concatenate([power, np.square(part, dtype=np.float64).mean(axis=1)])
        whole = len(power) // step * step
        sums.append(power[:whole].reshape(-1, step).mean(axis=1))
        power = power[whole:]
    every = np.concatenate(sums) if sums else np.zeros(0)
    return np.asarray(10 * np.log10(np.maximum(every, 10 ** (FLOOR_DB / 10))), np.float32)


def _continuous(path: Path, zero_s: float | None) -> Iterator[Samples]:
    given = 0
    for at, samples in _decoded(path, 0.0, zero_s, 1.0):
        yield from silence(max(0, at - given))
        given = max(given, at)
        part = samples[given - at :]
        given += len(part)
        yield part


def has_sound(path: Path) -> bool:
    """Whether a file can be opened and holds a sound track. Raises nothing."""
    try:
        with av.open(str(path)) as container:
            return bool(container.streams.audio)
    except (av.error.FFmpegError, OSError, ValueError):
        return False

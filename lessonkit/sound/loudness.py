"""Loudness and true peak by ITU-R BS.1770: measured with FFmpeg's ebur128 filter, peaks held under a ceiling.

Samples pass through in parts; what is kept is the meter's own state and a few hundredths of a second.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from lessonkit.sound.recording import SAMPLE_RATE_HZ, Samples

UNMEASURABLE_LUFS = -69.9
"""BS.1770 leaves out what is softer than -70 LUFS; where all of it is, there is nothing to measure."""
OVERSAMPLED = 4
"""BS.1770-5, annex 2: true peak of sound at 48 kHz is read from four times as many samples."""
REACH_S = 0.005
"""How long before a peak the sound is turned down, and after it up again: too short to hear as a change of level."""
_REACH = round(REACH_S * SAMPLE_RATE_HZ)
_AT_ONCE = SAMPLE_RATE_HZ // 10
_FILTER = 12
"""Samples on either side that decide the values between two samples."""


class Meter:
    """Integrated loudness of everything that was put in."""

    def __init__(self) -> None:
        self._graph: Any = av.filter.Graph()
        source = self._graph.add_abuffer(
            format="fltp", sample_rate=SAMPLE_RATE_HZ, layout="stereo", time_base=Fraction(1, SAMPLE_RATE_HZ)
        )
        meter = self._graph.add("ebur128", "metadata=1")
        sink = self._graph.add("abuffersink")
        source.link_to(meter)
        meter.link_to(sink)
        self._graph.configure()
        self._at = 0
        self._read: str | None = None

    def add(self, samples: Samples) -> None:
        """Take stereo samples, shape (n, 2)."""
        if not len(samples):
            return
        frame = av.AudioFrame.from_ndarray(
            np.ascontiguousarray(samples.T, np.float32), format="fltp", layout="stereo"
        )
        frame.sample_rate, frame.time_base = SAMPLE_RATE_HZ, Fraction(1, SAMPLE_RATE_HZ)
        frame.pts = self._at
        self._at += len(samples)
        self._graph.push(frame)
        self._pull()

    def _pull(self) -> None:
        while True:
            try:
                frame = self._graph.pull()
            except (av.error.BlockingIOError, av.error.EOFError):
                return
            self._read = frame.metadata.get("lavfi.r128.I", self._read)

    @property
    def lufs(self) -> float | None:
        """Integrated loudness; None where less than 0.4 s, or nothing above -70 LUFS, was put in."""
        value = float(self._read) if self._read is not None else float("-inf")
        return value if value > UNMEASURABLE_LUFS and self._at >= 0.4 * SAMPLE_RATE_HZ else None


def loudness(parts: Iterable[Samples]) -> float | None:
    """Integrated loudness of a whole sound, LUFS; None where there is nothing to measure."""
    meter = Meter()
    for part in parts:
        meter.add(part)
    return meter.lufs


def amplitude(db: float) -> float:
    """Factor of amplitude for decibels."""
    return float(10 ** (db / 20))


def limited(parts: Iterable[Samples], ceiling_dbtp: float) -> Iterator[Samples]:
    """The same sound, nowhere above a true peak, as long and in step with what went in.

    Turned down only around peaks: the gain that each sample needs is held for REACH_S on either side and then averaged
    over as long, so that it never jumps.
    """
    ceiling = amplitude(ceiling_dbtp)
    margin = 2 * _REACH + _FILTER
    held: Samples = np.zeros((margin, 2), np.float32)
    """Sound of which the beginning, `margin` long, is there for what follows it only."""
    for part in parts:
        held = np.concatenate([held, part])
        ready = len(held) - 2 * margin
        if ready < _AT_ONCE:
            continue
        yield _turned_down(held, margin, ready, ceiling)
        held = held[ready:]
    held = np.concatenate([held, np.zeros((margin, 2), np.float32)])
    ready = len(held) - 2 * margin
    if ready > 0:
        yield _turned_down(held, margin, ready, ceiling)


def _turned_down(samples: Samples, margin: int, ready: int, ceiling: float) -> Samples:
    """Samples margin..margin + ready, with what lies `margin` around them known."""
    part = samples[margin : margin + ready]
    if float(np.abs(samples).max()) < ceiling / 2:  # four times oversampled sound is at most twice as high
        return part
    from scipy.ndimage import minimum_filter1d, uniform_filter1d

    needed = np.minimum(1.0, ceiling / np.maximum(true_peaks(samples), 1e-9))
    size = 2 * _REACH + 1
    gain = uniform_filter1d(minimum_filter1d(needed, size, mode="nearest"), size, mode="nearest")
    return np.asarray(part * gain[margin : margin + ready, None], np.float32)


def true_peaks(samples: Samples) -> NDArray[np.float64]:
    """The highest value of either channel at and around each sample, between the samples too, shape (n,)."""
    from scipy.signal import resample_poly

    fine = np.abs(resample_poly(samples, OVERSAMPLED, 1, axis=0)).max(axis=1).reshape(-1, OVERSAMPLED)
    after = fine.max(axis=1)
    before = np.concatenate([after[:1], after[:-1]])
    return np.asarray(np.maximum(after, before), np.float64)

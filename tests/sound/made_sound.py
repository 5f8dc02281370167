"""Made-up recordings: talk that is loud where it is said to be, rooms that hum, clicks at known times."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

RATE_HZ = 48000


def talk(spans: Sequence[tuple[float, float]], length_s: float, level: float = 0.2) -> NDArray[np.float32]:
    """Noise in the band and rhythm of a voice (about four syllables a second) in the spans, faint noise elsewhere."""
    from scipy.signal import butter, sosfilt

    rng = np.random.default_rng(7)
    n = round(length_s * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    voice = sosfilt(butter(2, (150, 3500), "band", fs=RATE_HZ, output="sos"), rng.normal(size=n))
    syllables = 0.55 + 0.45 * np.sin(2 * np.pi * 4.0 * t)
    on = np.zeros(n)
    for a, b in spans:
        on[(t >= a) & (t < b)] = 1.0
    return np.asarray(level * voice * syllables * on + 0.0005 * rng.normal(size=n), np.float32)


def clicks(
    times_s: Sequence[float], length_s: float, hum: float = 0.01, rate_hz: int = RATE_HZ
) -> NDArray[np.float32]:
    """A hum of 120 Hz with clicks of 2 ms."""
    t = np.arange(round(length_s * rate_hz)) / rate_hz
    out = hum * np.sin(2 * np.pi * 120 * t)
    for at in times_s:
        out[(t >= at) & (t < at + 0.002)] = 0.8
    return out.astype(np.float32)


def write(
    path: Path, samples: NDArray[np.float32], rate_hz: int = RATE_HZ, *, codec: str = "pcm_s16le"
) -> Path:
    """A mono recording."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=rate_hz, layout="mono")
        for at in range(0, len(samples), rate_hz):
            part = np.clip(samples[at : at + rate_hz], -1, 1)
            frame = av.AudioFrame.from_ndarray(part[None], format="fltp", layout="mono")
            frame.sample_rate, frame.pts, frame.time_base = rate_hz, at, Fraction(1, rate_hz)
            for packet in stream.encode(frame):
                container.mux(packet)
        for packet in stream.encode(None):
            container.mux(packet)
    return path


def onsets(samples: NDArray[np.float32], above: float) -> list[float]:
    """Times at which sound rises above a level after a tenth of a second below it."""
    loud = np.flatnonzero(np.abs(samples).max(axis=1) > above) / RATE_HZ
    return [float(t) for k, t in enumerate(loud) if k == 0 or t - loud[k - 1] > 0.1]

"""Loudness and true peak against an independent meter (pyloudnorm), FFmpeg's own, and published cases."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import maximum_filter1d

from lessonkit.sound.loudness import limited, loudness, true_peaks
from tests.running import ROOT

SOURCES: dict[str, Any] = tomllib.loads((ROOT / "shared" / "sound.toml").read_text(encoding="utf-8"))
CASES = SOURCES["loudness"]["cases"]


def parts(samples: np.ndarray, size: int = 4801) -> Iterator[np.ndarray]:
    """In parts that fit nothing evenly."""
    for at in range(0, len(samples), size):
        yield samples[at : at + size]


@pytest.mark.parametrize("case", CASES, ids=[f"case {c['case']}" for c in CASES])
def test_published_cases(case: dict[str, Any]) -> None:
    """EBU Tech 3341, table 1, and pyloudnorm reads the same."""
    sine = [
        10 ** (db / 20) * np.sin(2 * np.pi * 1000 * np.arange(round(s * 48000)) / 48000)
        for db, s in case["segments_dbfs_s"]
    ]
    samples = np.repeat(np.concatenate(sine)[:, None], 2, axis=1).astype(np.float32)
    found = loudness(parts(samples, 48000))
    assert found == pytest.approx(case["integrated_lufs"], abs=SOURCES["loudness"]["tolerance_lu"])
    assert found == pytest.approx(pyloudnorm.Meter(48000).integrated_loudness(samples), abs=0.1)


def test_silence_has_no_loudness() -> None:
    """None, not a number."""
    assert loudness(parts(np.zeros((96000, 2), np.float32))) is None
    assert loudness([]) is None


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.1, 3.0), st.integers(1, 9000))
def test_limited_sound_keeps_under_the_ceiling_and_in_step(seed: int, level: float, size: int) -> None:
    """True peak (four times oversampled) at most -3 dB, as many samples, and nothing changed far from a peak."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 20000))
    samples = (0.05 * level * rng.normal(size=(n, 2))).astype(np.float32)
    for at in rng.integers(0, n, 3):
        samples[at : at + 90] += level
    out = np.concatenate(list(limited(parts(samples, size), -3.0)))
    assert out.shape == samples.shape
    assert float(true_peaks(out).max()) <= 10 ** (-3 / 20) + 0.02
    near = maximum_filter1d(true_peaks(samples) > 10 ** (-3 / 20), 1201, mode="constant")
    assert np.array_equal(out[~near], samples[~near])


def test_true_peak_between_samples_is_seen() -> None:
    """A sine at a quarter of the rate, 45 degrees off, has samples at 0.707 and a true peak of 1 (BS.1770, annex 2)."""
    n = np.arange(4800)
    sine = np.sin(np.pi / 2 * n + np.pi / 4)
    samples = np.repeat(sine[:, None], 2, axis=1).astype(np.float32)
    assert float(np.abs(samples).max()) == pytest.approx(0.7071, abs=1e-3)
    assert float(true_peaks(samples)[200:-200].max()) == pytest.approx(1.0, abs=0.02)

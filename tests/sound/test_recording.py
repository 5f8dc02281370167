"""Recordings read in parts: every sample at its time, whatever the container and the speed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lessonkit.errors import VoiceError
from lessonkit.sound.recording import LEVELS_PER_S, has_sound, levels, stretch
from tests.sound import made_sound

TIMES = (0.5, 2.25, 3.0, 5.75)


@pytest.mark.parametrize(("name", "codec", "rate"), [
    ("a.wav", "pcm_s16le", 48000), ("b.wav", "pcm_s16le", 44100), ("c.m4a", "aac", 48000), ("d.flac", "flac", 22050),
])  # fmt: skip
def test_clicks_are_where_they_were_recorded(tmp_path: Path, name: str, codec: str, rate: int) -> None:
    """From the beginning and from the middle, within 2 ms."""
    path = made_sound.write(tmp_path / name, made_sound.clicks(TIMES, 7.0, 0.0, rate), rate, codec=codec)
    whole = np.concatenate(list(stretch(path, 0.0, 7.0)))
    assert len(whole) == 7 * 48000
    assert made_sound.onsets(whole, 0.3) == pytest.approx(TIMES, abs=0.002)
    part = np.concatenate(list(stretch(path, 2.0, 4.0)))
    assert len(part) == 2 * 48000
    assert made_sound.onsets(part, 0.3) == pytest.approx((0.25, 1.0), abs=0.002)


@pytest.mark.parametrize("speed", [0.5, 2.0])
def test_another_speed_moves_clicks_with_the_picture(tmp_path: Path, speed: float) -> None:
    """A click at footage time t is heard at (t - start) / speed."""
    path = made_sound.write(tmp_path / "a.wav", made_sound.clicks(TIMES, 7.0, 0.0))
    part = np.concatenate(list(stretch(path, 2.0, 6.0, speed=speed)))
    assert len(part) == 4 / speed * 48000
    wanted = [(t - 2.0) / speed for t in TIMES[1:]]
    assert made_sound.onsets(part, 0.2) == pytest.approx(wanted, abs=0.002)


def test_beyond_the_end_there_is_silence(tmp_path: Path) -> None:
    """As many samples as asked for, none invented."""
    path = made_sound.write(tmp_path / "a.wav", made_sound.clicks((0.5,), 1.0, 0.1))
    part = np.concatenate(list(stretch(path, 0.5, 3.0)))
    assert len(part) == 2.5 * 48000
    assert np.abs(part[:24000]).max() > 0.05
    assert not part[26000:].any()


def test_levels_are_rms_in_decibels(tmp_path: Path) -> None:
    """A sine of amplitude 0.1 has -23.01 dB (0.1 / sqrt 2); one channel shared by two has 3.01 dB less in each."""
    t = np.arange(48000 * 2) / 48000
    sine = (0.1 * np.sin(2 * np.pi * 1000 * t)).astype(np.float32)
    found = levels(made_sound.write(tmp_path / "a.wav", sine))
    assert len(found) == 2 * LEVELS_PER_S
    assert found == pytest.approx(20 * np.log10(0.1 / np.sqrt(2) / np.sqrt(2)), abs=0.05)


def test_a_file_that_is_no_sound_is_named(tmp_path: Path) -> None:
    """In one sentence that says what to do."""
    path = tmp_path / "talk.wav"
    path.write_bytes(b"no sound at all")
    assert not has_sound(path)
    with pytest.raises(VoiceError, match=r"talk\.wav.*WAV or M4A"):
        levels(path)

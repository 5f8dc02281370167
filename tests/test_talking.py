"""--voice on the command line: refused early where it is not there, and remembered for the next rendering."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from lessonkit import talking
from lessonkit.errors import VoiceError
from lessonkit.lesson.settings import Settings


def test_a_talk_that_is_not_there_is_refused_before_the_work(
    command: Any, sample_footage: Path, sample_notes: Path, tmp_path: Path
) -> None:
    """In one sentence, with nothing written."""
    ran = command(
        "make",
        sample_footage,
        "--notes",
        sample_notes,
        "--out",
        tmp_path / "x",
        "--voice",
        tmp_path / "no.wav",
    )
    assert ran.status == 1
    assert ran.is_one_sentence()
    assert "no.wav" in ran.err and "--voice footage" in ran.err
    assert not (tmp_path / "x").exists()


def test_the_talk_is_remembered_until_forgotten(tmp_path: Path) -> None:
    """Of a file that has gone since, nothing is remembered; a damaged memory is none."""
    voice = tmp_path / "talk.wav"
    voice.write_bytes(b"x")
    assert talking.remembered(tmp_path, None) is None
    assert talking.remembered(tmp_path, str(voice)) == str(voice.resolve())
    assert talking.remembered(tmp_path, None) == str(voice.resolve())
    voice.unlink()
    assert talking.remembered(tmp_path, None) is None
    assert talking.remembered(tmp_path, talking.FOOTAGE) == talking.FOOTAGE
    assert talking.remembered(tmp_path, None) == talking.FOOTAGE
    (tmp_path / talking.KEPT).write_text("[")
    assert talking.remembered(tmp_path, None) is None
    talking.forget(tmp_path)
    talking.forget(tmp_path)


def test_what_is_asked_for_is_checked() -> None:
    """The word footage needs no file."""
    talking.check(talking.FOOTAGE)
    with pytest.raises(VoiceError, match="no file or folder"):
        talking.check("nowhere.wav")


def test_no_roll_is_hurried_while_somebody_may_speak() -> None:
    """And the loudness is that of the settings."""
    assert talking.at_its_speed(Settings()).speeds.roll == 1.0
    assert (talking.level_of(Settings()).lufs, talking.level_of(Settings()).peak_dbtp) == (-14.0, -1.0)

"""The talk of a lesson: found where the person says it is, remembered in the lesson folder for the next rendering."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from lessonkit.errors import VoiceError
from lessonkit.folder import write_text
from lessonkit.lesson.cutlist import Draft
from lessonkit.lesson.narration import Take
from lessonkit.lesson.settings import Settings
from lessonkit.lesson.voice_files import FOOTAGE
from lessonkit.model import Analysis
from lessonkit.progress import Talk
from lessonkit.publish.sound import Level
from lessonkit.sound.recording import has_sound

__all__ = ["FOOTAGE", "at_its_speed", "check", "forget", "level_of", "narrated", "remembered", "talk_for"]

KEPT = ".voice.json"


def check(voice: str) -> None:
    """Refuse early what is not there or holds no sound, before the footage is watched. Raises VoiceError."""
    if voice != FOOTAGE and not Path(voice).exists():
        raise VoiceError(
            f"There is no file or folder {voice} for the talk; check the name, or give `--voice {FOOTAGE}` where the sound "
            "of the footage is the talk."
        )
    if voice != FOOTAGE and Path(voice).is_file() and not has_sound(Path(voice)):
        raise VoiceError(f"{voice} holds no sound that can be read; give a recording as WAV, M4A or MP3.")


def remembered(out: Path, voice: str | None) -> str | None:
    """The talk asked for, which is kept in mind, or that of the last time if it is still there."""
    if voice is not None:
        whole = voice if voice == FOOTAGE else str(Path(voice).resolve())
        write_text(out / KEPT, json.dumps({"voice": whole}, ensure_ascii=False))
        return whole
    try:
        kept = json.loads((out / KEPT).read_text(encoding="utf-8"))["voice"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return kept if isinstance(kept, str) and (kept == FOOTAGE or Path(kept).exists()) else None


def forget(out: Path) -> None:
    """The lesson is made anew, without the talk of an earlier one."""
    (out / KEPT).unlink(missing_ok=True)


def talk_for(
    footage: Path, analysis: Analysis, settings: Settings, voice: str | None, talk: Talk
) -> tuple[tuple[Take, ...], tuple[str, ...]]:
    """What is said to each shot, and what a person should hear of it; nothing where there is no voice."""
    if voice is None:
        return (), ()
    from lessonkit.footage.reader import open_footage
    from lessonkit.lesson.cutting import play_spans
    from lessonkit.lesson.voice_files import find_talk

    talk.say("Listening to the talk.")
    with open_footage(footage) as source:
        found = find_talk(voice, source, analysis, play_spans(analysis, settings))
    if not found.takes and not found.warnings:
        return (), (
            "nobody was heard to speak at the times of the notes, so the lesson has no talk but what its plays hold.",
        )
    return found.takes, found.warnings


def at_its_speed(settings: Settings) -> Settings:
    """Settings under which no roll is hurried, because somebody may speak in it."""
    return replace(settings, speeds=replace(settings.speeds, roll=1.0))


def narrated(drafts: Sequence[Draft], takes: Sequence[Take]) -> list[Draft]:
    """The pieces with the talk; the same pieces where there is none."""
    from lessonkit.lesson.narration import narrated as laid

    return laid(drafts, takes) if takes else list(drafts)


def level_of(settings: Settings) -> Level:
    """How loud the settings want the lesson."""
    s = settings.sound
    return Level(s.loudness_lufs, s.peak_dbtp, s.under_voice_db)

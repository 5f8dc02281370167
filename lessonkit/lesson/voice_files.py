"""What a person gives as the talk: one recording, a folder with a file for each shot, or the footage's own sound."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from lessonkit.errors import VoiceError
from lessonkit.footage.reader import OpenFootage
from lessonkit.lesson.narration import Part, Take, Talked, take_of_file, takes_by_time
from lessonkit.model import Analysis, Shot
from lessonkit.sound.recording import has_sound, levels
from lessonkit.sound.speech import Span, speech

FOOTAGE = "footage"
"""Given in place of a file: the sound of the footage is the talk."""
_NUMBER = re.compile(r"\d+")
_LOOKS_BACK = re.compile(r"result|after", re.IGNORECASE)


def find_talk(
    voice: str | Path, footage: OpenFootage, analysis: Analysis, plays: dict[int, tuple[float, float]]
) -> Talked:
    """The talk in `voice` for each shot.

    Args:
        voice: FOOTAGE; or a recording whose times are the notes'; or a folder whose files name their shot by a number
            ('shot-03.m4a'), with 'result' or 'after' in the name where the talk looks back.
        plays: footage times that each shot's play shows.
    Raises VoiceError with a sentence that names the file, where one cannot be used.
    """
    if voice == FOOTAGE or Path(voice).resolve() == footage.path.resolve():
        if not footage.has_sound:
            raise VoiceError(
                f"{footage.path} has no sound, so it cannot be the talk; give --voice a recording."
            )
        spans = speech(levels(footage.path, zero_s=footage.zero_s))
        return takes_by_time(str(footage.path.resolve()), spans, analysis, plays)
    path = Path(voice)
    if not path.exists():
        raise VoiceError(f"There is no file or folder {path} for the talk; check the name.")
    if path.is_dir():
        return _talk_of_folder(path, analysis)
    return takes_by_time(str(path.resolve()), _speech_in(path), analysis)


def _speech_in(path: Path) -> tuple[Span, ...]:
    if not has_sound(path):
        raise VoiceError(f"{path} holds no sound that can be read; give a recording as WAV, M4A or MP3.")
    spans = speech(levels(path))
    if not spans:
        raise VoiceError(f"Nobody is heard to speak in {path}; is the recording empty, or very soft?")
    return spans


def _talk_of_folder(folder: Path, analysis: Analysis) -> Talked:
    shots = {s.seen.number: s for s in analysis.shots}
    found: dict[tuple[int, Part], Path] = {}
    takes: list[Take] = []
    warnings: list[str] = []
    for path in _files(folder):
        number = _NUMBER.search(path.stem)
        if number is None:
            warnings.append(
                f"{path.name} was left out of the talk, because no number of a shot is in its name."
            )
            continue
        shot = shots.get(int(number[0]))
        if shot is None:
            raise VoiceError(
                f"{path} is for shot {int(number[0])}, but the lesson has {_shots(shots)}; rename it, or take it away."
            )
        part: Part = "result" if _LOOKS_BACK.search(path.stem) else "plan"
        other = found.setdefault((shot.seen.number, part), path)
        if other != path:
            raise VoiceError(
                f"{other.name} and {path.name} in {folder} are both for shot {int(number[0])}; keep one."
            )
        take = take_of_file(str(path.resolve()), _speech_in(path), shot, part)
        takes += [take] if take is not None else []
    if not takes:
        raise VoiceError(
            f"{folder} holds no recording named for a shot; name them shot-01.wav, shot-02.wav and so on."
        )
    return Talked(tuple(takes), tuple(warnings))


def _files(folder: Path) -> Sequence[Path]:
    return sorted(p for p in folder.iterdir() if p.is_file() and not p.name.startswith(".") and has_sound(p))


def _shots(shots: dict[int, Shot]) -> str:
    return "1 shot" if len(shots) == 1 else f"{len(shots)} shots"

"""The whole lesson's sound from its cut list: the footage's own while it plays, the voice over it, as loud as asked for.

    track = prepare(footage, cuts, folder, Level())
    for samples in track.parts(): ...

The sound is gone through several times, to measure and then to write it, and never held.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from lessonkit.footage.reader import OpenFootage, open_footage
from lessonkit.lesson.cutlist import CutList, Piece
from lessonkit.sound.loudness import amplitude, limited, loudness
from lessonkit.sound.mixing import mixed
from lessonkit.sound.recording import SAMPLE_RATE_HZ, Samples, silence, stretch
from lessonkit.sound.speech import Span

FADE_S = 0.008
"""Fade at both edges of a stretch of sound, so that a cut does not click."""
FASTEST = 4.0
"""Footage shown faster than this is silent: nothing could be told from its sound."""
MOST_GAIN_DB = 24.0
"""The sound of the play is not turned up further: it would be the noise of the microphone."""
UNDER_VOICE_DB = 6.0
"""How much softer than the voice the sound of the play is where there is a voice (our own choice)."""
NEAR_LU = 0.2
CAUTION_LU = 1.0
ROUNDS = 3
CODEC_DB = 1.0
"""What AAC at 160 kbit/s may add to a true peak (measured on clicks; docs/decisions.md)."""


@dataclass(frozen=True)
class Level:
    """How loud the lesson is to be."""

    lufs: float = -14.0
    """Integrated loudness, ITU-R BS.1770."""
    peak_dbtp: float = -1.0
    """Highest true peak of the finished file."""
    duck_db: float = 12.0
    """How much the play is turned down while somebody speaks."""


@dataclass(frozen=True)
class Track:
    """The lesson's sound, ready to be written."""

    footage: OpenFootage
    cuts: CutList
    folder: Path
    level: Level
    play_db: float
    voice_db: float
    lufs: float | None
    """Loudness of what `parts` gives, as measured; None: there is nothing to be heard."""

    @property
    def samples(self) -> int:
        """Length."""
        return _sample(self.cuts.duration_s)

    def parts(self) -> Iterator[Samples]:
        """Stereo samples at 48 kHz in parts of at most a second, shape (n, 2), as many as the pictures last."""
        ceiling = self.level.peak_dbtp - CODEC_DB
        return limited(_mix(self, self.play_db, self.voice_db), ceiling)


def prepare(footage: OpenFootage, cuts: CutList, folder: Path, level: Level | None = None) -> Track:
    """Measure voice and play, and settle how loud each is to be.

    Args:
        folder: what paths of recordings and clips in the cut list are taken from.
    Raises VoiceError when a recording cannot be read.
    """
    level = level or Level()
    track = Track(footage, cuts, folder, level, 0.0, 0.0, None)
    voice_lufs = loudness(_voice_stretches(track))
    play_lufs = loudness(_play_stretches(track))
    voice_db = 0.0 if voice_lufs is None else level.lufs - voice_lufs
    aim = level.lufs - (UNDER_VOICE_DB if voice_lufs is not None else 0.0)
    play_db = 0.0 if play_lufs is None else min(MOST_GAIN_DB, aim - play_lufs)
    lufs: float | None = None
    for _ in range(ROUNDS):
        track = Track(footage, cuts, folder, level, play_db, voice_db, None)
        lufs = loudness(track.parts())
        if lufs is None or abs(level.lufs - lufs) <= NEAR_LU:
            break
        more = level.lufs - lufs
        voice_db += more
        play_db = min(play_db + more, MOST_GAIN_DB)
        if voice_lufs is None and track.play_db == play_db:
            break
    return Track(footage, cuts, folder, level, track.play_db, track.voice_db, lufs)


class LessonSound:
    """The sound of one rendering, for `lessonkit.publish.video.render`; remembers how loud it came out."""

    def __init__(self, folder: Path, level: Level | None = None) -> None:
        self.lufs: float | None = None
        """Integrated loudness of the sound asked for first; None: not asked yet, or nothing to be heard."""
        self.level = level or Level()
        self._folder, self._asked = folder, False

    def __call__(self, footage: OpenFootage, cuts: CutList) -> Iterator[Samples]:
        """The whole sound; pieces must begin with the times of the frames shown first. Raises VoiceError."""
        track = prepare(footage, cuts, self._folder, self.level)
        if not self._asked:
            self.lufs, self._asked = track.lufs, True
        return track.parts()

    @property
    def caution(self) -> str | None:
        """One sentence where the lesson did not become as loud as asked for."""
        if self.lufs is None or abs(self.lufs - self.level.lufs) <= CAUTION_LU:
            return None
        return (
            f"the lesson's sound came out at {self.lufs:.1f} LUFS, not {self.level.lufs:.1f}: it would have to be turned up "
            "so far that the noise of the microphone would be heard."
        )


def footage_sound(footage: OpenFootage, cuts: CutList) -> Iterator[Samples]:
    """The lesson's sound at the usual loudness; paths in the cut list must be whole."""
    return prepare(footage, cuts, Path()).parts()


def _sample(t_s: float) -> int:
    return round(t_s * SAMPLE_RATE_HZ)


def _mix(track: Track, play_db: float, voice_db: float) -> Iterator[Samples]:
    play = (part * np.float32(amplitude(play_db)) for part in _play(track))
    voice = (part * np.float32(amplitude(voice_db)) for part in _voice(track))
    spans = [Span(v.start_s, v.end_s) for v in _heard(track)]
    return mixed(play, voice, spans, depth_db=track.level.duck_db)


# --- the play ------------------------------------------------------------------------------------------------------


def _play(track: Track) -> Iterator[Samples]:
    """The footage's own sound and that of the person's clips, silence on stills and cards."""
    for piece in track.cuts.pieces:
        count = _sample(piece.end_s) - _sample(piece.start_s)
        yield from _of_piece(track, piece, count)


def _play_stretches(track: Track) -> Iterator[Samples]:
    """Only where there is sound, so that the silence of stills does not count."""
    for piece in track.cuts.pieces:
        if _sounds(track, piece):
            yield from _of_piece(track, piece, _sample(piece.end_s) - _sample(piece.start_s))


def _sounds(track: Track, piece: Piece) -> bool:
    if piece.kind == "clip":
        return piece.file is not None
    return piece.source_end_s is not None and track.footage.has_sound and 0 < piece.speed <= FASTEST


def _of_piece(track: Track, piece: Piece, count: int) -> Iterator[Samples]:
    if not _sounds(track, piece):
        return silence(count)
    start_s = piece.source_start_s or 0.0
    end_s = start_s + count / SAMPLE_RATE_HZ * piece.speed
    if piece.kind == "clip":
        path = track.folder / (piece.file or "")
        with open_footage(path) as clip:
            zero_s = clip.zero_s
        return _faded(stretch(path, start_s, end_s, zero_s=zero_s, speed=piece.speed), count)
    sound = stretch(track.footage.path, start_s, end_s, zero_s=track.footage.zero_s, speed=piece.speed)
    return _faded(sound, count)


def _faded(parts: Iterator[Samples], count: int) -> Iterator[Samples]:
    """The parts, of `count` samples in all, faded at both ends."""
    fade = max(1, min(round(FADE_S * SAMPLE_RATE_HZ), count // 4))
    at = 0
    for part in parts:
        n = len(part)
        if at < fade or at + n > count - fade:
            k = np.arange(at, at + n)
            gain = np.clip(np.minimum((k + 0.5) / fade, (count - k - 0.5) / fade), 0.0, 1.0)
            part = np.asarray(part * gain[:, None], np.float32)
        at += n
        yield part


# --- the voice -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Heard:
    """A stretch of a recording in its place in the lesson."""

    start_s: float
    end_s: float
    path: Path
    source_start_s: float


def _heard(track: Track) -> list[_Heard]:
    """All that is spoken, in its order, none into the next and none past the end."""
    found = [
        _Heard(p.start_s + v.at_s, p.start_s + v.at_s + v.duration_s, track.folder / v.file, v.start_s)
        for p in track.cuts.pieces
        for v in p.voice
    ]
    found.sort(key=lambda h: h.start_s)
    ends = [*(h.start_s for h in found[1:]), track.cuts.duration_s]
    return [
        _Heard(h.start_s, min(h.end_s, end), h.path, h.source_start_s)
        for h, end in zip(found, ends, strict=False)
        if min(h.end_s, end) > h.start_s
    ]


def _voice(track: Track) -> Iterator[Samples]:
    at = 0
    for h in _heard(track):
        first, end = _sample(h.start_s), _sample(h.end_s)
        yield from silence(first - at)
        yield from _spoken(track, h, end - first)
        at = end
    yield from silence(track.samples - at)


def _voice_stretches(track: Track) -> Iterator[Samples]:
    for h in _heard(track):
        yield from _spoken(track, h, _sample(h.end_s) - _sample(h.start_s))


def _spoken(track: Track, h: _Heard, count: int) -> Iterator[Samples]:
    # Where the talk is the footage's own sound, its times are the footage's.
    zero_s = track.footage.zero_s if h.path.resolve() == track.footage.path.resolve() else None
    sound = stretch(h.path, h.source_start_s, h.source_start_s + count / SAMPLE_RATE_HZ, zero_s=zero_s)
    return _faded(sound, count)

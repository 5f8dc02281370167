"""Times of strikes sharpened by their clicks in the footage's sound, where there is some.

The picture wins: a strike moves by half a frame at most, only to a click that can belong to nothing else, and only in
footage whose clicks keep one and the same delay to the strikes seen. Contacts are left to the picture, which dates them
by whole ways before and after: with the strikes' delay they came out worse (docs/seeing.md).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from lessonkit.footage.clicks import Click, clicks, sharpen, sound_offset_s
from lessonkit.footage.reader import OpenFootage
from lessonkit.model import SeenShot

RATE_HZ = 24000
LEAD_S = 0.4
MOST_S = 12.0
"""So much of a shot is listened to; later contacts are too faint to be told from the room."""
MOST_DELAY_S = 0.08
"""Sound that comes later or earlier than this is no sound of this picture (20 m of way, or a file out of step)."""


def sharpened(footage: OpenFootage, shots: Sequence[SeenShot]) -> list[SeenShot]:
    """The shots with the strikes that the sound tells better; all as they were where it tells nothing.

    Only strikes tell the sound's delay: of the contacts of a break too many lie within it.
    """
    if not footage.has_sound or not shots:
        return list(shots)
    heard = [_heard(footage, s) for s in shots]
    offset_s = sound_offset_s([s.strike_s for s in shots], [c for h in heard for c in h], MOST_DELAY_S)
    if offset_s is None:
        return list(shots)
    within_s = 0.5 / max(footage.info.fps, 1.0)
    return [retimed(s, h, offset_s, within_s) for s, h in zip(shots, heard, strict=True)]


def _heard(footage: OpenFootage, shot: SeenShot) -> list[Click]:
    start_s = max(0.0, shot.strike_s - LEAD_S)
    end_s = min(shot.rest_s, shot.strike_s + MOST_S) + 0.2
    return clicks(footage.sound(start_s, end_s, RATE_HZ), RATE_HZ, start_s)


def retimed(shot: SeenShot, heard: Sequence[Click], offset_s: float, within_s: float) -> SeenShot:
    """The shot with its strike moved to its click; the cue ball's way begins with it."""
    contacts = [e.t_s for e in shot.events if e.kind == "ball"]
    told_s = sharpen([shot.strike_s, *contacts], heard, within_s, offset_s)[0]
    path = shot.cue_path
    second_s = path[1, 0] if len(path) > 1 else shot.rest_s
    if told_s >= min([second_s, *contacts]):
        return shot
    cue_path = path.copy()
    if len(path) and abs(path[0, 0] - shot.strike_s) < 1e-6:
        cue_path[0, 0] = told_s
    return replace(shot, strike_s=told_s, cue_path=cue_path)

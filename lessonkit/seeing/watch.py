"""From footage to all that it shows: the table, then things at rest, then shots one by one.

    seen = watch(Path("clip.mp4"))

A first look at ten frames a second over the whole footage, then every frame about each shot; both in stretches that
workers look at side by side.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import Frame, OpenFootage, open_footage
from lessonkit.model import Point, Seen, SeenShot
from lessonkit.seeing.bedview import BedView
from lessonkit.seeing.bumps import Bump, find_bumps
from lessonkit.seeing.calibration import honest
from lessonkit.seeing.centres import refine_centre
from lessonkit.seeing.first_look import People, first_look
from lessonkit.seeing.following import Followed, Resting, follow_all
from lessonkit.seeing.hearing import sharpened
from lessonkit.seeing.identities import Strings, name_strings
from lessonkit.seeing.looks import Close, Lighting, Look, close_look, look, white_point
from lessonkit.seeing.numbers import DOUBT_BELOW, Named, cost
from lessonkit.seeing.parts import Part, missed, split
from lessonkit.seeing.report import describe_shot
from lessonkit.seeing.residences import Residence
from lessonkit.seeing.size import sized
from lessonkit.seeing.workers import workers
from lessonkit.table.finding import Surface, find_table

Progress = Callable[[float], None]

TABLE_PICTURES = 13
BARE_PICTURES = 26
ENOUGH_PICTURES = 8
"""So many key frames tell what the bare table looks like; decoding everything to have more is not worth it."""
FIRST_LOOK = 0.6
"""Share of the work that the first look is, for the progress bar."""
CLEAR_SHARE = 0.0005
LEAST_POCKETS = 5
LEAST_SIGHTS = 12


def watch(
    path: Path,
    *,
    table: str = "auto",
    head: str = "left",
    corners: Sequence[Point] | None = None,
    progress: Progress | None = None,
) -> Seen:
    """All that the footage shows.

    `table`, `head`, `corners` as in `find_table`; `progress` is called with the share done, 0 to 1. Footage of more
    than some seconds is looked at by several processes; a script that calls this needs the usual
    `if __name__ == "__main__":`. Raises FootageError and TableError.
    """
    tell = progress or (lambda _: None)
    with open_footage(path) as footage, workers(footage.info.duration_s) as hands:
        frames = footage.spread(BARE_PICTURES, ENOUGH_PICTURES)
        bumps = _bumps(footage, frames)
        whole = split(footage, frames, bumps, lambda shown: _find(shown, table, head, corners))
        tell(0.05)
        del frames
        found, people, store = first_look(
            footage, whole.parts, hands, lambda share: tell(0.05 + (FIRST_LOOK - 0.05) * share)
        )
        resting = _look_closely(found, whole.parts)
        followed = follow_all(
            footage,
            whole.parts,
            resting,
            store,
            hands,
            lambda share: tell(FIRST_LOOK + (1 - FIRST_LOOK) * share),
        )
        shots = sharpened(footage, _describe(followed, resting, people, whole.parts[0].bare.view))
        tell(1.0)
        doubts = (*_doubts(whole.surface), *whole.doubts, *missed(bumps, shots, found))
        surface = whole.surface
        return Seen(footage.info, surface.table, surface.camera, tuple(shots), doubts, whole.cameras)


def _bumps(footage: OpenFootage, frames: Sequence[Frame]) -> list[Bump]:
    """The camera's moves; none where pictures cannot be compared, for a lesson is worth more than a move that was noticed."""
    try:
        return find_bumps(footage, frames)
    except (cv2.error, np.linalg.LinAlgError):
        return []


def _find(frames: Sequence[Frame], size: str, head: str, corners: Sequence[Point] | None) -> Surface:
    """The surface; with size 'auto' as what its balls and sights tell."""
    pictures = [f.bgr() for f in frames[:: len(frames) // TABLE_PICTURES or 1]]
    surface = find_table(pictures, size=size, head=head, corners=corners)
    return surface if size != "auto" else sized(surface, frames, pictures, head, corners)


def _doubts(surface: Surface) -> tuple[str, ...]:
    """What a person should check of the table and the camera."""
    doubts = []
    if not surface.size_sure:
        size = surface.table.size
        doubts.append(
            f"the balls do not tell the table's size for sure; {size} was taken: say --table if that is wrong."
        )
    # a table without sights is none the worse; one with some sights out of place was fitted wrongly
    if surface.pockets < LEAST_POCKETS or 0 < surface.sights < LEAST_SIGHTS:
        doubts.append(
            "few of the table's pockets and sights were recognised, so places may be off by centimetres; compare "
            "top-view.png with the table, and give --corners if its edges do not run straight."
        )
    return tuple(doubts)


def _look_closely(found: list[Residence], parts: Sequence[Part]) -> Resting:
    lighting = [Lighting(p.bare) for p in parts]
    places: list[Point] = []
    errors: list[float | None] = []
    closes: dict[int, Close] = {}
    for i, r in enumerate(found):
        others = [o.place for o in found if o is not r and o.first_s < r.last_s and o.last_s > r.first_s]
        place, error = refine_centre(r.patches, r.place, parts[r.part].bare, others)
        places.append(place)
        errors.append(error)
        if r.patches:
            closes[i] = close_look(r.patches, place, lighting[r.part])
    white = white_point(list(closes.values()))
    looks: dict[int, Look | None] = {
        i: look(closes[i], white, len(r.patches)) if i in closes else None for i, r in enumerate(found)
    }
    colours = [_core(closes[i]) if i in closes else np.full(3, 0.3) for i in range(len(found))]
    whiteness = [cost(k, 0) if (k := looks[i]) is not None else 30.0 for i in range(len(found))]
    return Resting(found, places, errors, looks, colours, whiteness)


def _core(close: Close) -> NDArray[np.float64]:
    """The mean light of a ball's middle as the camera saw it, shape (3,)."""
    return np.asarray(close.light[close.radius < 0.55].mean(0) * close.lamp, float)


def _describe(
    followed: list[Followed], resting: Resting, people: Sequence[People], view: BedView
) -> list[SeenShot]:
    strings = Strings()
    for f in followed:
        for earlier, later in f.linked.items():
            strings.link(earlier, later)
    heads = strings.heads(len(resting.residences))
    rests = [r for f in followed for r in (f.before, f.after)]
    likely = name_strings(heads, resting.looks, rests, {heads[f.departure.cue] for f in followed})
    # that the size is unsure is said once for the whole table, and makes no single ball doubtful
    named = {h: honest(n) for h, n in likely.items()}
    shots: list[SeenShot] = []
    for k, f in enumerate(followed):
        numbers = {
            i: named[heads[i]] for i in {*f.before, *f.after} if named.get(heads[i], Named(-1, 0)).number >= 0
        }
        since_s = followed[k - 1].rest_s if k else 0.0
        until_s = followed[k + 1].strike_s if k + 1 < len(followed) else np.inf
        shots.append(
            describe_shot(
                k + 1, f.balls, f.strike_s, f.rest_s,
                before=resting.layout([i for i in f.before if i in numbers], view),
                after=resting.layout([i for i in f.after if i in numbers], view),
                linked=f.linked, numbers={i: n.number for i, n in numbers.items()},
                doubtful={numbers[i].number for i in numbers if numbers[i].confidence < DOUBT_BELOW or resting.errors_mm[i] is None},
                table=view.table,
                clear_before_s=_clear(people, max(since_s, f.strike_s - 30.0), f.strike_s - 0.05),
                clear_after_s=_clear(people, f.rest_s, min(until_s - 0.1, f.rest_s + 30.0)),
            )
        )  # fmt: skip
    return shots


def _clear(people: Sequence[People], from_s: float, to_s: float) -> float | None:
    """The middle of the longest time between the two in which nobody stands before the table; None: there is none.

    Its ends show somebody stepping in or out.
    """
    best: tuple[float, float] = (0.0, 0.0)
    began: float | None = None
    within = [s for s in people if from_s <= s.t_s <= to_s]
    for k, s in enumerate(within):
        clear = s.share <= CLEAR_SHARE
        if clear and began is None:
            began = s.t_s
        if began is not None and (not clear or k == len(within) - 1):
            ended = s.t_s if clear else within[k - 1].t_s
            if ended - began >= best[1] - best[0]:
                best = (began, ended)
            began = None
    if best == (0.0, 0.0):
        return None
    middle = 0.5 * (best[0] + best[1])
    return min((s.t_s for s in within), key=lambda t: abs(t - middle))


cv2.setNumThreads(1)  # frames are worked on side by side; threads within one would only get in their way

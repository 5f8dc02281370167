"""Every ball in sight at one moment of a short stretch, with its number and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lessonkit.footage.reader import Frame
from lessonkit.model import Point
from lessonkit.seeing.bedview import BedView
from lessonkit.seeing.calibration import honest
from lessonkit.seeing.centres import refine_centre
from lessonkit.seeing.cloth import BareTable
from lessonkit.seeing.discs import LEAST_APART
from lessonkit.seeing.identities import name_strings
from lessonkit.seeing.looks import Lighting, close_look, look, white_point
from lessonkit.seeing.patches import Patch, Patcher
from lessonkit.seeing.residences import EMPTY_SHARE, residences
from lessonkit.seeing.sampling import Sample, Sampler, cloth_share

APART_MM = 40.0
SEEN_MM = 12.0
FULL, ROUND = 0.75, 0.5
"""Fill and votes of a disc that is a ball though it was seen but once."""


@dataclass(frozen=True, eq=False)
class _Ball:
    place: Point
    patches: tuple[Patch, ...]


@dataclass(frozen=True)
class SeenBall:
    """One ball."""

    place: Point
    """Millimetres in the table frame."""
    number: int | None
    """0 is the cue ball; None for a thing like a ball beyond the sixteen that there can be, or never seen clear."""
    confidence: float
    """How likely the number is right, 0 to 1."""
    error_mm: float | None
    """Of its place; None where its outline could not be fitted."""


def balls_at(
    frames: Sequence[Frame], view: BedView, bare: BareTable, t_s: float, size_sure: bool = True
) -> list[SeenBall]:
    """The balls in sight at a time; `frames` in order of time, some tens over some seconds at most.

    Where the table's size is not sure, no number is.
    """
    patcher = Patcher(view.camera, view.table)
    sampler = Sampler(view, bare, patcher)
    samples = [sampler.sample(f) for f in frames]
    found = residences(samples, view)
    there = [_Ball(r.place, r.patches) for r in found if r.first_s <= t_s + 1e-6 and r.end_s > t_s]
    k = min(range(len(frames)), key=lambda i: abs(frames[i].t_s - t_s))
    there = [b for b in there if _lies_there(b.place, samples[k], view)]
    for s in samples[k].sightings:
        # a ball that came to rest just now, or has not yet, is no residence, but it is in this picture
        near = any(np.hypot(s.place[0] - b.place[0], s.place[1] - b.place[1]) < APART_MM for b in there)
        if not near and s.alone and s.fill >= FULL and s.votes >= ROUND:
            there.append(_Ball(s.place, (patcher.patch(frames[k], s.place),)))
    return _named(there, bare, size_sure)


def _lies_there(place: Point, sample: Sample, view: BedView) -> bool:
    """Whether a ball that lay somewhere can still lie there.

    Pictures are far apart here, so one that has just rolled away is still thought to; but then cloth shows at its place, or
    another ball lies partly in it.
    """
    nearest = min((float(np.hypot(*np.subtract(s.place, place))) for s in sample.sightings), default=np.inf)
    if nearest < SEEN_MM:
        return True
    shows_cloth = cloth_share(sample.foreign(), view.to_view([place])[0], view.radius_px) > EMPTY_SHARE
    return not shows_cloth and nearest > LEAST_APART * view.table.radius_mm


def _named(there: Sequence[_Ball], bare: BareTable, size_sure: bool) -> list[SeenBall]:
    lighting = Lighting(bare)
    places = [r.place for r in there]
    refined: list[tuple[Point, float | None]] = []
    for k, r in enumerate(there):
        others = places[:k] + places[k + 1 :]
        refined.append(refine_centre(r.patches[:8], r.place, bare, others) if r.patches else (r.place, None))
    closes = {k: close_look(r.patches, refined[k][0], lighting) for k, r in enumerate(there) if r.patches}
    white = white_point(list(closes.values()))
    looks = {k: look(c, white, len(there[k].patches)) for k, c in closes.items()}
    looked = sorted(looks)
    likely = name_strings(range(len(there)), looks, [looked], set())
    named = {k: honest(n, size_sure) for k, n in likely.items()}
    balls = []
    for k, (place, error_mm) in enumerate(refined):
        name = named.get(k)
        known = name is not None and name.number >= 0
        balls.append(
            SeenBall(
                place, name.number if name and known else None, name.confidence if name else 0.0, error_mm
            )
        )
    return sorted(balls, key=lambda b: 99 if b.number is None else b.number)

"""The first look over the whole footage: ten pictures a second, stretch by stretch, reduced to what lay where.

Memory is bounded whatever the length: of a stretch that was looked at, only things at rest and a number a look are kept,
and, as long as there is room, the moving parts of its pictures (`kept.py`).
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path

import cv2

from lessonkit.footage.reader import OpenFootage, Reading, reopened
from lessonkit.seeing.bedview import BedView
from lessonkit.seeing.changes import Cells
from lessonkit.seeing.cloth import BareTable
from lessonkit.seeing.kept import Keeper, Kept, Store
from lessonkit.seeing.parts import Part
from lessonkit.seeing.patches import Patcher
from lessonkit.seeing.residences import Residence, Stays
from lessonkit.seeing.sampling import Sample, Sampler
from lessonkit.seeing.workers import Workers

Progress = Callable[[float], None]

SAMPLES_PER_S = 10.0
STRETCH_S = 4.0
"""Length of a stretch, at least; it begins at a key frame, so that nothing is decoded twice."""
AHEAD = 3
"""Stretches that may be done or in work, for each worker, beyond the one that is waited for."""


@dataclass(frozen=True)
class People:
    """How much of the bed somebody covers at one time."""

    t_s: float
    share: float


def first_look(
    footage: OpenFootage, parts: Sequence[Part], hands: Workers, tell: Progress
) -> tuple[list[Residence], list[People], Store]:
    """What lay where and when, when the view was free, and what moved. `tell` hears the share done, 0 to 1.

    Raises FootageError when the footage is damaged.
    """
    stays = Stays(parts[0].bare.view)
    people: list[People] = []
    store = Store()
    pending: deque[tuple[int, float, Future[tuple[list[Sample], Kept]]]] = deque()

    def take() -> None:
        k, end_s, future = pending.popleft()
        stays.see_by(k, parts[k].bare.view)
        samples, kept = hands.result(future)
        store.add(kept)
        for sample in samples:
            stays.add(sample)
            people.append(People(sample.t_s, sample.people))
        tell(min(1.0, end_s / footage.info.duration_s))

    for k, part in enumerate(parts):
        for start_s, end_s in stretches(footage, part.from_s, part.until_s):
            work = hands.submit(
                look_at, footage.path, footage.reading, part.bare, start_s, end_s, hands.threads
            )
            pending.append((k, end_s, work))
            if len(pending) > AHEAD * hands.count:
                take()
    while pending:
        take()
    return stays.all(), people, store


def stretches(
    footage: OpenFootage, from_s: float = 0.0, until_s: float = math.inf
) -> list[tuple[float, float]]:
    """A part of the footage cut at key frames into stretches (start_s, end_s) of STRETCH_S and more, nothing left out."""
    starts = [from_s]
    last_s = min(until_s, footage.info.duration_s)
    for key_s in footage.key_times():
        if key_s >= starts[-1] + STRETCH_S and key_s <= last_s - STRETCH_S / 2:
            starts.append(key_s)
    return list(zip(starts, [*starts[1:], min(until_s, footage.info.duration_s + 1.0)], strict=True))


def look_at(
    path: Path, reading: Reading, bare: BareTable, start_s: float, end_s: float, threads: int = 0
) -> tuple[list[Sample], Kept]:
    """The samples of one stretch, and what moved in it."""
    cv2.setNumThreads(1)
    view: BedView = bare.view
    cells = Cells(view)
    sampler = Sampler(view, bare, Patcher(view.camera, view.table), cells)
    keeper = Keeper(view, cells)
    samples: list[Sample] = []
    due_s = start_s
    with reopened(path, reading, threads) as footage:
        for frame in footage.frames(start_s, end_s):
            keeper.keep(frame)
            if frame.t_s + 1e-6 < due_s:
                continue
            due_s = max(due_s + 1 / SAMPLES_PER_S, frame.t_s + 0.5 / SAMPLES_PER_S)
            samples.append(sampler.sample(frame))
    return samples, keeper.kept(start_s, end_s)

"""Captions off the table's action: in the lower part of the picture, or in the upper where less happens there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lessonkit.lesson.cutlist import Cue, CutList, Piece
from lessonkit.model import CUE_BALL, Analysis, Camera, Shot
from lessonkit.table.camera import project

ACROSS = (0.18, 0.82)
"""Shares of the picture's width between which a centred line of 42 characters lies, at the usual size of 5 % of the
height (W3C WebVTT, "Rendering", default size of 5vh)."""
LOW = (0.84, 1.0)
"""Share of its height taken by two lines at the lower edge."""
HIGH_LINE = 0.14
"""Upper edge of captions in the upper part: under the headline of a shot."""
HIGH = (HIGH_LINE, HIGH_LINE + 0.14)
STEP_MM = 30.0
"""Ways are looked at every so far."""
STILL_WEIGHT = 10
"""A ball that lies still counts as so many points of a way."""
CLEARLY = 0.6
"""The upper part is taken only where it holds less than this share of what the lower does, so that captions stay put."""


def placed(
    cuts: CutList, analysis: Analysis, camera: Camera | None = None, size: tuple[int, int] | None = None
) -> CutList:
    """The same lesson, its captions in the part of the picture with less action; all of one piece in the same part.

    `camera` and `size` are those of the lesson's picture; None: the footage's.
    """
    if camera is not None and size is not None:
        footage = replace(analysis.footage, width=size[0], height=size[1])
        analysis = replace(analysis, camera=camera, footage=footage)
    shots = {s.seen.number: s for s in analysis.shots}
    high = {p.start_s: _better_high(p, shots, analysis) for p in cuts.pieces}
    return replace(cuts, cues=tuple(replace(c, high=_of(c, cuts.pieces, high)) for c in cuts.cues))


def _of(cue: Cue, pieces: Sequence[Piece], high: Mapping[float, bool]) -> bool:
    piece = next((p for p in pieces if p.start_s - 1e-6 <= cue.start_s < p.end_s - 1e-6), None)
    return piece is not None and high[piece.start_s]


def _better_high(piece: Piece, shots: Mapping[int, Shot], analysis: Analysis) -> bool:
    shot = shots.get(piece.shot) if piece.shot is not None else None
    if shot is None:
        return False
    points = _action(shot, piece.kind == "plan", analysis)
    low, up = _within(points, LOW), _within(points, HIGH)
    return low > 0 and up < CLEARLY * low


def _action(shot: Shot, planned: bool, analysis: Analysis) -> NDArray[np.float64]:
    """Places in the picture, shares of its width and height, shape (N, 2), of what a viewer looks at in a piece."""
    seen, plan = shot.seen, shot.plan
    ways = [np.asarray(w, float) for w in (plan.cue_path, plan.ball_path) if len(w) > 1] if plan else []
    moved = {CUE_BALL, *seen.paths, *((plan.ball,) if plan and plan.ball is not None else ())}
    if not planned:
        ways += [t[:, 1:3] for t in (seen.cue_path, *seen.paths.values()) if len(t) > 1]
    layout = seen.layout_before if planned else {**seen.layout_before, **seen.layout_after}
    still = [p for n, p in layout.items() if n in moved]
    points = [*(_evenly(w) for w in ways), *(np.tile(p, (STILL_WEIGHT, 1)) for p in still)]
    if not points:
        return np.zeros((0, 2))
    size = (analysis.footage.width, analysis.footage.height)
    return np.asarray(project(analysis.camera, np.concatenate(points)), float) / size


def _evenly(way_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points STEP_MM apart along a way of shape (N, 2)."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(way_mm, axis=0).T))])
    at = np.arange(0.0, max(along[-1], 1.0), STEP_MM)
    return np.stack([np.interp(at, along, way_mm[:, k]) for k in (0, 1)], axis=1)


def _within(points: NDArray[np.float64], band: tuple[float, float]) -> int:
    x, y = points[:, 0], points[:, 1]
    return int(((x >= ACROSS[0]) & (x <= ACROSS[1]) & (y >= band[0]) & (y < band[1])).sum())

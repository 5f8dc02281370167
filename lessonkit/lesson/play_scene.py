"""The shot at full speed with the way the cue ball has taken so far."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from lessonkit.lesson import marks, projected, style
from lessonkit.lesson.diagram_shapes import kept_points, tidy
from lessonkit.lesson.drawing import layout_at, way_until
from lessonkit.lesson.in_front import InFront, Shy
from lessonkit.lesson.naming import Naming
from lessonkit.lesson.picture import Box, Cutout, Layer, Overlay, Picture
from lessonkit.lesson.scene import Set, box_around, speed_words
from lessonkit.model import CUE_BALL, Event, Point, Track

OVERLAP_MM = 40.0
"""How much of the line drawn before is drawn again, so that the new piece's edge does not cut it."""
MARK_MM = 15.0
"""A mark whose middle lies so far before what is drawn again may be touched by it, and is drawn again too."""
SHORT_WAY_BALLS = 2.0
"""A called ball's way shorter than this is left out: it would be a mere tick beside the pocket."""
STRAIGHT_MM = 8.0
"""The called ball's way is told to within this; its tracked places waver by a few millimetres."""


class Trail:
    """One ball's way, drawn piece by piece as it grows."""

    def __init__(
        self, scene: Set, track: Track, ink: style.Ink, *, thin: bool, events: Sequence[Event] = ()
    ) -> None:  # fmt: skip
        """`events` are contacts to mark on the way."""
        self._pen, self._ink, self._thin = scene.pen, ink, thin
        track = tidy(track, scene.pen.table)
        if thin:
            track = straightened(track, STRAIGHT_MM)
        short_mm = SHORT_WAY_BALLS * scene.pen.table.ball_diameter_mm
        if thin and len(track) and projected.lengths(track[:, 1:3])[-1] < short_mm:
            track = track[:0]  # a mere tick beside the pocket
        self._track = track
        self._drawn_mm = 0.0
        along = projected.lengths(track[:, 1:3])
        at = [(float(np.interp(t, track[:, 0], along)), p) for t, p in marks.contact_places(events, track)]
        self._contacts = at
        rows = [] if thin else list(marks.notch_places(track))
        self._notches = [(float(along[np.argmin(np.hypot(*(track[:, 1:3] - n[:2]).T))]), n) for n in rows]

    @property
    def box(self) -> Box | None:
        """Around the whole way, lines' width included; None for a ball that does not move."""
        if len(self._track) < 2:
            return None
        return box_around(self._pen.px(projected.sampled(self._track[:, 1:3])), 8 * self._pen.sizes.line_px)

    def grow(self, layer: Layer, t_s: float) -> Box | None:
        """Draw on what was added up to `t_s`, ending at the ball's rear edge; return the box that changed."""
        way = way_until(self._track, t_s, self._pen.table.radius_mm)
        total = float(projected.lengths(way)[-1]) if len(way) > 1 else 0.0
        if total - self._drawn_mm < 2.0:
            return None
        new = projected.sampled(projected.stretch(way, self._drawn_mm, total))
        again = projected.sampled(projected.stretch(way, max(0.0, self._drawn_mm - OVERLAP_MM), total))
        self._drawn_mm = total
        sizes = self._pen.sizes
        width = sizes.line_px * (0.6 if self._thin else 1.0)
        old, px = self._pen.px(again), self._pen.px(new)
        layer.lines([px], self._ink.edge, width + 2 * sizes.edge_px)
        layer.lines([old], self._ink.line, width)
        since = total - projected.lengths(again)[-1] - MARK_MM
        notches = [n for at, n in self._notches if since <= at <= total]
        marks.draw_notches(self._pen, layer, notches, self._ink)
        for at, place in self._contacts:
            if since <= at <= total:
                marks.draw_contact(self._pen, layer, place, self._ink)
        return box_around(np.r_[px, old], 6 * sizes.line_px)


def straightened(track: Track, tolerance_mm: float) -> Track:
    """The track with each place moved onto the straight pieces that `thin` leaves; times and pace stay."""
    kept = kept_points([(float(x), float(y)) for x, y in track[:, 1:3]], tolerance_mm)
    out = track.copy()
    for a, b in pairwise(kept):
        start, along = track[a, 1:3], track[b, 1:3] - track[a, 1:3]
        share = np.clip((track[a : b + 1, 1:3] - start) @ along / max(1e-9, float(along @ along)), 0.0, 1.0)
        out[a : b + 1, 1:3] = start + np.maximum.accumulate(share)[:, None] * along
    return out


class Play:
    """Lays headline, inset and growing ways over the frames of one shot."""

    def __init__(self, scene: Set, open_table: Picture) -> None:
        """`open_table` is the still before the shot, with which people in front are told from the cloth."""
        pen, shot = scene.pen, scene.shot
        self._scene = scene
        self._tracks = {CUE_BALL: shot.seen.cue_path, **shot.seen.paths}
        self._dropped_s = {p.ball: p.t_s for p in shot.seen.pocketed}
        called = shot.plan.ball if shot.plan is not None else None
        events = shot.seen.events
        self._trails = [Trail(scene, shot.seen.cue_path, pen.inks.actual, thin=False, events=events)]
        if called is not None and called in shot.seen.paths and called != CUE_BALL:
            self._trails.insert(0, Trail(scene, shot.seen.paths[called], pen.inks.aim, thin=True))
        self._resting: dict[Point, list[Cutout]] = {}
        self._layer = Layer(pen.sizes.width_px, pen.sizes.height_px)
        boxes = [t.box for t in self._trails]
        self._overlay = Overlay(_union([b for b in boxes if b is not None], pen.sizes))
        resting = pen.balls(shot.seen.layout_before)
        self._in_front = InFront(open_table, self._overlay.box, resting)
        inset = scene.inset_overlay(actual=False)
        fixed = [scene.headline_overlay("play"), *([inset] if inset is not None else [])]
        self._fixed = [Shy(overlay, open_table, resting) for overlay in fixed]
        speed = _speed_overlay(scene)
        self._speed = Shy(speed, open_table, resting) if speed is not None else None

    def draw(self, picture: Picture, t_s: float) -> None:
        """Draw on the frame of footage time `t_s`; times must ascend."""
        for trail in self._trails:
            changed = trail.grow(self._layer, t_s)
            if changed is not None:
                self._overlay.update(self._layer.bgra, changed)
        if self._layer.touched is not None:
            hidden = self._in_front.hidden(picture)
            picture.lay(self._overlay, above=self._balls(t_s), hidden=hidden)
        if self._speed is not None and t_s >= self._scene.shot.seen.strike_s:
            self._speed.lay(picture, t_s)
        for overlay in self._fixed:
            overlay.lay(picture, t_s)

    def _balls(self, t_s: float) -> list[Cutout]:
        """The balls at this moment; those that lie still are cut out once."""
        layout = layout_at(self._scene.shot.seen.layout_before, self._tracks, self._dropped_s, t_s)
        resting = set(self._resting) & set(layout.values())
        self._resting = {p: c for p, c in self._resting.items() if p in resting}
        for ball, place in layout.items():
            if place not in self._resting:
                self._resting[place] = self._scene.pen.balls({ball: place})
        return [c for place in layout.values() for c in self._resting[place]]


def _speed_overlay(scene: Set) -> Overlay | None:
    """The cue ball's speed off the tip, beside the place from which it was struck."""
    words, path = speed_words(scene.shot), scene.shot.seen.cue_path
    if words is None or not len(path):
        return None
    naming = Naming(scene, inset=True)
    start = (float(path[0, 1]), float(path[0, 2]))
    if not naming.add(words, start, 1.9 * scene.pen.table.radius_mm, 0.0, "", share=0.85):
        return None
    layer = Layer(scene.pen.sizes.width_px, scene.pen.sizes.height_px)
    naming.steps[0].draw(layer, 1.0)
    return layer.overlay()


def _union(boxes: list[Box], sizes: style.Sizes) -> Box:
    if not boxes:
        return 0, 0, 2, 2
    x0, y0 = max(0, min(b[0] for b in boxes)), max(0, min(b[1] for b in boxes))
    x1 = min(sizes.width_px, max(b[2] for b in boxes))
    y1 = min(sizes.height_px, max(b[3] for b in boxes))
    return (x0, y0, x1, y1) if x1 > x0 and y1 > y0 else (0, 0, 2, 2)

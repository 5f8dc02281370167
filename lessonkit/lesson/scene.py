"""What the pieces of one shot share: the pen, the headline's and the inset's places, and steps that appear in turn."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lessonkit.comparing.words import length
from lessonkit.lesson import projected, style
from lessonkit.lesson.cutlist import Drawn
from lessonkit.lesson.diagram import diagram_image
from lessonkit.lesson.diagram_shapes import FRAME_MM, on_table
from lessonkit.lesson.drawing import Pen
from lessonkit.lesson.labels import Plate, Room, best_headline, free_place, overlap
from lessonkit.lesson.labels import headlines as headline_choices
from lessonkit.lesson.landing import landing_place, landing_radius_mm
from lessonkit.lesson.phrases import headline as headline_words
from lessonkit.lesson.picture import Box, Cutout, Layer, Overlay, Picture
from lessonkit.lesson.view import GROUND, View, make_view
from lessonkit.model import Analysis, Pocket, Point, Shot
from lessonkit.table.camera import project

INSET_SHARES = (0.48, 0.42, 0.36, 0.3, 0.25, 0.2, 0.17)
"""Lengths of the diagram as shares of the picture's longer side: the largest that finds a free place."""
BOTTOM_COST = 150.0
"""What headlines at the bottom must save: more than the covered pockets of three."""
INSET_USUAL = 0.25
"""Larger ones are taken only where they hide nothing of the playing surface."""
INSET_HIDES = 0.03
"""Share of the playing surface that the diagram may hide before a smaller one is taken."""
INSET_NUMBER = 0.9
"""Size of numbers in the diagram, to a label's."""
MARGIN_SHARE = 0.012
MAX_ROUTES = 3
"""Ways of balls at once; older ones fade when more appear."""
FADED = 0.22
"""How much of a faded way still shows."""


def measured_cloth(picture: Picture, analysis: Analysis, pen_camera_px: NDArray[np.float64]) -> str:
    """The cloth's colour in this picture: median over the inside of the playing surface, as '#RRGGBB'.

    `pen_camera_px` are pixels, shape (N, 2), of places on the cloth; balls and people among them do no harm
    as long as most show cloth.
    """
    bgr = picture.to_bgr()
    p = np.round(pen_camera_px).astype(int)
    inside = (p[:, 0] >= 0) & (p[:, 0] < picture.width) & (p[:, 1] >= 0) & (p[:, 1] < picture.height)
    if not inside.any():
        return "#808080"
    b, g, r = np.median(bgr[p[inside, 1], p[inside, 0]], axis=0)
    return style.hex_of((int(b), int(g), int(r)))


def pen_for(analysis: Analysis, picture: Picture, view: View | None = None) -> Pen:
    """A pen for pictures of this lesson's size, its inks chosen by the cloth that this picture shows.

    Without a view the picture is the footage's, scaled.
    """
    camera = (view or make_view(analysis, (picture.width, picture.height))).camera
    L, W = analysis.table.length_mm, analysis.table.width_mm
    xs, ys = np.meshgrid(np.linspace(0.06, 0.94, 40) * L, np.linspace(0.1, 0.9, 20) * W)
    cloth = measured_cloth(picture, analysis, project(camera, np.c_[xs.ravel(), ys.ravel()]))
    sizes = style.Sizes(picture.width, picture.height)
    return Pen(camera, analysis.table, style.inks_for(cloth), sizes)


@dataclass(frozen=True, eq=False)
class Set:
    """One shot ready to be drawn: where headline and inset stand, and what of the picture is taken."""

    pen: Pen
    shot: Shot
    headlines: dict[str, tuple[Plate, Box]]
    """For 'plan', 'play' and 'result'."""
    inset_box: Box | None
    taken: Room
    """Balls, headline and inset; words must keep off."""
    panel: bool = False
    """Whether the diagram stands beside the footage, in all pieces alike, instead of in a free corner of it."""
    max_routes: int = MAX_ROUTES

    def headline_overlay(self, kind: str) -> Overlay:
        """The headline of a piece."""
        plate, box = self.headlines[kind]
        layer = Layer(self.pen.sizes.width_px, self.pen.sizes.height_px)
        plate.draw(layer, box[0], box[1])
        return layer.overlay()

    def panel_overlays(self, *, actual: bool) -> list[Overlay]:
        """The diagram where it stands beside the footage; none where it is an inset."""
        overlay = self.inset_overlay(actual=actual) if self.panel else None
        return [overlay] if overlay is not None else []

    def inset_overlay(self, *, actual: bool) -> Overlay | None:
        """The diagram; None where it has no place."""
        if self.inset_box is None:
            return None
        x0, y0, x1, y1 = self.inset_box
        if self.panel:
            image = self._panel_image(x1 - x0, y1 - y0, actual)
        else:
            rim = max(2, round(self.pen.sizes.edge_px))
            turn = projected.quarter_turns(self.pen.camera, self.pen.table)
            image = self._diagram(x1 - x0 - 2 * rim, actual, turn)
            image = np.pad(image, ((rim, rim), (rim, rim), (0, 0)), constant_values=255)  # a white rim
        layer = Layer(self.pen.sizes.width_px, self.pen.sizes.height_px)
        layer.image(image, x0, y0)
        return layer.overlay()

    def _diagram(self, width_px: int, actual: bool, turn: int) -> NDArray[np.uint8]:
        return diagram_image(
            self.shot, self.pen.table, width_px, actual=actual, turn=turn,
            number_px=self.pen.sizes.label_px * INSET_NUMBER,
        )  # fmt: skip

    def _panel_image(self, width: int, height: int, actual: bool) -> NDArray[np.uint8]:
        """The diagram in the middle of its panel, upright with the head at the bottom, or lying."""
        upright = height > width
        long, short = (s + 2 * FRAME_MM for s in (self.pen.table.length_mm, self.pen.table.width_mm))
        across, down = (short, long) if upright else (long, short)
        margin = max(4, round(self.pen.sizes.short_px * MARGIN_SHARE))
        inner = round(min(width - 2 * margin, (height - 2 * margin) * across / down))
        image = np.full((height, width, 3), style.bgr(GROUND), np.uint8)
        drawn = self._diagram(inner, actual, 1 if upright else 0)
        h, w = drawn.shape[:2]
        y, x = max(0, (height - h) // 2), (width - w) // 2
        image[y : y + h, x : x + w] = drawn[: height - y]
        return image


def result_words(shot: Shot) -> str:
    """The comparison's sentence, or what can be said without one."""
    compared = shot.comparison
    if compared is not None and compared.sentence:
        return compared.sentence
    words = [f"Shot {shot.seen.number}"]
    if compared is not None and compared.called_made is not None:
        words.append("made" if compared.called_made else "missed")
    if compared is not None and compared.landing_error_mm is not None:
        words.append(f"{distance_words(compared.landing_error_mm)} from the planned place")
    elif shot.seen.scratch:
        words.append("scratch")
    return " · ".join(words)


def distance_words(mm: float) -> str:
    """'57 mm', '18 cm', '1.2 m': as the sentence says it, for both stand in one picture."""
    return length(mm)


def speed_words(shot: Shot) -> str | None:
    """The cue ball's speed off the tip: '2.1 m/s'; None where it was not measured."""
    speed = shot.stroke.speed_mps if shot.stroke is not None else None
    return None if speed is None else f"{speed:.1f} m/s"


def set_up(
    analysis: Analysis, shot: Shot, pen: Pen, headlines: Mapping[str, str] | None = None,
    reserved: Sequence[Box] = (), *, view: View | None = None, max_routes: int = MAX_ROUTES,
) -> Set:  # fmt: skip
    """Choose the places of headline and inset so that they hide none of the shot's balls, pockets and ways.

    `headlines` are words that the person wants over 'plan', 'play' or 'result' instead of what is known of the shot;
    `reserved` are boxes that something else will cover.
    """
    sizes = pen.sizes
    width, height = view.room if view is not None else (sizes.width_px, sizes.height_px)
    diagram = view.diagram if view is not None else "inset"
    margin = max(4, round(sizes.short_px * MARGIN_SHARE))
    things = [*reserved, *_ball_boxes(pen, shot), *_mouths_px(pen, used_pockets(shot))]
    taken = Room(width, height, things)
    taken.ways = _ways_px(pen, shot)
    taken.soft += [*taken.ways, *_places_px(pen, shot)]
    taken.pockets = _mouths_px(pen, list(pen.table.pockets))
    words = {"plan": headline_words(shot), "result": result_words(shot)}
    words["play"] = words["plan"]
    words |= {k: w for k, w in (headlines or {}).items() if w}
    plates = {k: headline_choices(w, sizes, width) for k, w in words.items()}
    at = {
        top: {k: best_headline(p, taken, margin, top=top) for k, p in plates.items()} for top in (True, False)
    }
    cost = {top: sum(taken.cost(b) for _, b in placed.values()) for top, placed in at.items()}
    # Players show captions at the bottom, so the headline goes there only to free what it would hide on top.
    placed = at[cost[True] <= cost[False] + BOTTOM_COST]
    boxes = [b for _, b in placed.values()]
    room = Room(width, height, [*taken.solid, *boxes], taken.soft, pockets=taken.pockets, ways=taken.ways)
    panel = view.panel if view is not None else None
    inset = panel if diagram == "beside" else _inset_box(pen, room, margin) if diagram == "inset" else None
    if inset is not None:
        room.solid.append(inset)
    return Set(pen, shot, placed, inset, room, panel is not None, max_routes)


def _inset_box(pen: Pen, room: Room, margin: int) -> Box | None:
    corners = pen.px(
        [
            (0, 0),
            (pen.table.length_mm, 0),
            (pen.table.length_mm, pen.table.width_mm),
            (0, pen.table.width_mm),
        ],
        0.0,
    )
    surface: Box = (
        *np.floor(corners.min(0)).astype(int).tolist(),
        *np.ceil(corners.max(0)).astype(int).tolist(),
    )
    upright = projected.quarter_turns(pen.camera, pen.table) % 2 == 1
    frame = 300.0  # both rails of the diagram
    aspect = (pen.table.width_mm + frame) / (pen.table.length_mm + frame)
    smallest: Box | None = None
    for share in INSET_SHARES:
        long = round(max(room.width, room.height) * share)
        rim = 2 * max(2, round(pen.sizes.edge_px))
        if upright:
            width = round(long * aspect)
            size = (width, round((width - rim) / aspect) + rim)
        else:
            size = (long, round((long - rim) * aspect) + rim)
        box = free_place(size, room, [surface], margin)
        if box is not None:
            hides = overlap(box, surface)
            if share > INSET_USUAL and hides:
                continue
            smallest = box
            if hides <= INSET_HIDES * overlap(surface, surface):
                break
    return smallest


def box_around(points_px: NDArray[np.float64], pad: float = 2.0) -> Box:
    """The smallest box around pixels, shape (N, 2), and a little more."""
    lo, hi = np.floor(points_px.min(0) - pad).astype(int), np.ceil(points_px.max(0) + pad).astype(int)
    return int(lo[0]), int(lo[1]), int(hi[0]), int(hi[1])


def _ball_boxes(pen: Pen, shot: Shot) -> list[Box]:
    places = {*shot.seen.layout_before.values(), *shot.seen.layout_after.values()}
    return [
        box_around(projected.ball_outline(pen.camera, p, pen.table.radius_mm, scale=1.4))
        for p in sorted(places)
    ]


def used_pockets(shot: Shot) -> list[Pocket]:
    """The called pocket and those in which something dropped."""
    pockets = [p.pocket for p in shot.seen.pocketed]
    if shot.plan is not None and shot.plan.pocket is not None:
        pockets.append(shot.plan.pocket)
    return sorted(set(pockets))


def _mouths_px(pen: Pen, pockets: Sequence[Pocket]) -> list[Box]:
    """Boxes around pockets' mouths."""
    mouths = (projected.circle(pen.table.pockets[p], pen.table.corner_mouth_mm * 0.6) for p in pockets)
    return [box_around(pen.px(m, pen.table.nose_height_mm)) for m in mouths]


def _ways_px(pen: Pen, shot: Shot) -> list[NDArray[np.float64]]:
    """Pixels along every way that will be drawn, about every 25 mm."""
    ways: list[Sequence[Point] | NDArray[np.float64]] = [shot.seen.cue_path[:, 1:3]]
    ways += [t[:, 1:3] for t in shot.seen.paths.values()]
    if shot.plan is not None:
        ways += [shot.plan.cue_path, shot.plan.ball_path]
    surface = [on_table(np.asarray(w, float).reshape(-1, 2), pen.table) for w in ways]
    return [pen.px(projected.sampled(w, 25.0)) for w in surface if len(w) > 1]


def _places_px(pen: Pen, shot: Shot) -> list[NDArray[np.float64]]:
    """Pixels along the rims of the landing place and of its spread, and about its middle."""
    landing = landing_place(shot)
    if landing is None or shot.plan is None:
        return []
    far = (pen.table.length_mm, pen.table.width_mm)
    radius = landing_radius_mm(shot)
    rims = [np.clip(projected.circle(landing, share * radius), 0.0, far) for share in (0.5, 1.0)]
    if shot.plan.landing_spread is not None:
        rims.append(projected.spread_rim(shot.plan.landing_spread, pen.table))
    return [pen.px(projected.sampled(r, 25.0), 0.0) for r in rims]


Draw = Callable[[Layer, float], None]
"""Draws a thing at a progress of 0-1 on an empty layer."""


@dataclass(frozen=True, eq=False)
class Step:
    """One thing that appears on a still: between two shares of the piece it fades in, or grows."""

    start: float
    end: float
    draw: Draw
    grows: bool = False
    on_cloth: bool = True
    """Lies on the cloth, so that balls stand in front of it."""
    name: str = ""
    """What the cut list calls it: a key of PLAN_STEPS or RESULT_STEPS; words have the name of what they name."""
    route: str = ""
    """Which ball's way it draws, '' for none; steps of one way count once against the budget of ways."""


def timed(steps: Sequence[Step], wanted: Sequence[Drawn] | None, usual: Mapping[str, float]) -> list[Step]:
    """The steps that the cut list wants, each moved by as much as its name's time differs from the usual one.

    None wants all at their usual times; steps without a name always stay.
    """
    if wanted is None:
        return list(steps)
    by_name = {w.what: w.at for w in wanted}
    kept = []
    for step in steps:
        if step.name and step.name not in by_name:
            continue
        later = by_name[step.name] - usual.get(step.name, by_name[step.name]) if step.name else 0.0
        start = min(max(0.0, step.start + later), 0.95)
        kept.append(replace(step, start=start, end=min(1.0, start + step.end - step.start)))
    return kept


def shown(steps: Sequence[Step], share: float, max_routes: int = MAX_ROUTES) -> list[tuple[float, float]]:
    """Progress (0-1) and opacity of each step when this share of the piece has passed.

    A way fades by as much as the way that comes `max_routes` after it has appeared; ways count in the order in which
    they begin.
    """
    progress = [
        0.0 if share < s.start else 1.0 if share >= s.end else round((share - s.start) / (s.end - s.start), 3)
        for s in steps
    ]
    begun: dict[str, float] = {}
    for step, done in sorted(zip(steps, progress, strict=True), key=lambda pair: pair[0].start):
        if step.route and step.route not in begun:
            begun[step.route] = done
    order = list(begun)
    after = {
        r: begun[order[i + max_routes]] if i + max_routes < len(order) else 0.0 for i, r in enumerate(order)
    }
    states = []
    for step, done in zip(steps, progress, strict=True):
        opacity = 1.0 if step.grows else done
        states.append((done, round(opacity * (1 - (1 - FADED) * after.get(step.route, 0.0)), 3)))
    return states


class Still:
    """A still picture on which steps appear; unchanged pictures are made once."""

    def __init__(
        self, base: Picture, steps: Sequence[Step], balls: Sequence[Cutout], fixed: Sequence[Overlay],
        max_routes: int = MAX_ROUTES,
    ) -> None:  # fmt: skip
        self._steps = sorted(steps, key=lambda s: not s.on_cloth)
        self._max_routes = max_routes
        self._balls = balls
        self._base = base.copy()
        for overlay in fixed:
            self._base.lay(overlay)
        self._done: dict[int, Overlay] = {}
        self._last: tuple[tuple[tuple[float, float], ...], Picture] | None = None

    def at(self, share: float) -> Picture:
        """The picture when this share of the piece (0-1) has passed; the same object as long as nothing changes."""
        state = tuple(shown(self._steps, share, self._max_routes))
        if self._last is not None and self._last[0] == state:
            return self._last[1]
        picture = self._base.copy()
        for k, (step, (progress, opacity)) in enumerate(zip(self._steps, state, strict=True)):
            if progress <= 0:
                continue
            overlay = self._overlay(k, step, progress)
            above = self._balls if step.on_cloth else ()
            picture.lay(overlay, opacity=opacity, above=above)
        self._last = (state, picture)
        return picture

    def _overlay(self, k: int, step: Step, progress: float) -> Overlay:
        if k in self._done:
            return self._done[k]
        layer = Layer(self._base.width, self._base.height)
        step.draw(layer, progress if step.grows else 1.0)
        overlay = layer.overlay()
        if progress >= 1 or not step.grows:
            self._done[k] = overlay
        return overlay


def copying(done: Layer) -> Draw:
    """A step's drawing that was made before."""

    def draw(layer: Layer, _: float) -> None:
        layer.bgra[:] = done.bgra
        layer.touched = done.touched

    return draw

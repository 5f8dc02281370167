"""Where words go: beside their things, inside the picture, off the balls, off each other and off the ways."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.lesson import style
from lessonkit.lesson.picture import Box, Layer
from lessonkit.lesson.text import balanced, line_height_px, text_mask, top_px, width_px, wrapped
from lessonkit.model import Point

FAR_COST = 2.5
"""A label one of its heights further off its thing is as bad as one that hides so many points of a way."""
HEADLINE_SHARES = (1.0, 0.9, 0.8)
HEADLINE_PLACES = 25
"""Places along an edge that a headline may take."""
PAST_COST = 16.0
"""What it costs that a headline stands past the pockets instead of at the edge: it hides more of the cloth."""
LINE_COST = 6.0
"""What a further line of a headline costs."""
NARROW_HEADLINE = 0.42
"""Share of the picture's width that goes between two pockets of a table that fills it."""
CROSSING_COST = 20.0
"""What a twelfth of the line from words to their thing costs if it runs over other words or balls."""
CROSSED_LEAD, CROSSED_WAY = 60.0, 24.0
"""What it costs if that line crosses another such line (or words cover one), and if it crosses a way."""
POCKET_COST, LABEL_POCKET_COST = 40.0, 12.0
"""What a pocket costs that a headline covers, and one that a label does."""
SOLID_COST = 200.0
"""What a ball costs that is hidden by something much larger than it: more than all pockets of an edge."""
FARTHER = (0.0, 0.6, 1.4, 2.4, 3.6, 5.0, 7.0)
"""How far from their thing words may stand, in their own heights."""
_DIRECTIONS = [(1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1), (1, -0.5), (-1, -0.5), (1, 0.5),
               (-1, 0.5), (0.5, -1), (-0.5, -1), (0.5, 1), (-0.5, 1)]  # fmt: skip
"""Where words may stand about their thing, as shares of reach and half their size; the first ones are preferred."""


@dataclass
class Room:
    """What of the picture is taken: boxes that words must not touch, and places that they should not hide."""

    width: int
    height: int
    solid: list[Box] = field(default_factory=list)
    """Balls, other words."""
    soft: list[NDArray[np.float64]] = field(default_factory=list)
    """Points in pixels, shape (N, 2), of ways."""
    words: list[Box] = field(default_factory=list)
    """Words placed before, which others never touch."""
    pockets: list[Box] = field(default_factory=list)
    """Pockets, better left to be seen."""
    pocket_cost: float = POCKET_COST
    ways: list[NDArray[np.float64]] = field(default_factory=list)
    """Polylines in pixels, shape (N, 2), that lines from words to their things should not cross."""
    leads: list[NDArray[np.float64]] = field(default_factory=list)
    """Lines from words placed before to their things, shape (2, 2)."""

    def cost(self, box: Box, pockets: bool = True) -> float:
        """0 for a free place; a solid thing counts by the share of the box that it takes, or of itself that is hidden, a point
        of a way 1; pockets: whether they count too."""
        x0, y0, x1, y1 = box
        if x0 < 0 or y0 < 0 or x1 > self.width or y1 > self.height:
            return float("inf")
        if any(overlap(box, b) for b in self.words):
            return float("inf")
        area = max(1, (x1 - x0) * (y1 - y0))
        total = sum(
            1 + hidden * max(1000 / area, SOLID_COST / max(1, (b[2] - b[0]) * (b[3] - b[1])))
            for b in self.solid
            if (hidden := overlap(box, b))
        )
        for points in self.soft:
            inside = (points[:, 0] >= x0) & (points[:, 0] < x1) & (points[:, 1] >= y0) & (points[:, 1] < y1)
            total += float(inside.sum())
        if self.leads:
            total += CROSSED_LEAD * sum(_runs_under(lead, box) for lead in self.leads)
        if pockets:
            total += self.pocket_cost * sum(bool(overlap(box, p)) for p in self.pockets)
        return total


def overlap(a: Box, b: Box) -> int:
    """Area in pixels that two boxes share."""
    return max(0, min(a[2], b[2]) - max(a[0], b[0])) * max(0, min(a[3], b[3]) - max(a[1], b[1]))


@dataclass(frozen=True)
class Key:
    """How the line looks that a label names."""

    colour: str
    dashed: bool


@dataclass(frozen=True)
class Plate:
    """Words on a ground of their own."""

    lines: tuple[str, ...]
    size_px: int
    bold: bool = True
    ground: str = style.PLATE
    colour: str = style.WHITE
    key: Key | None = None
    """A sample of the line that the words name, drawn before them."""

    @property
    def key_px(self) -> int:
        """Room for the sample."""
        return 0 if self.key is None else round(self.size_px * 1.9)

    @property
    def pad_px(self) -> int:
        """Ground left around the words."""
        return max(3, round(self.size_px * 0.32))

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        widest = max((width_px(t, self.size_px, bold=self.bold) for t in self.lines), default=0)
        high = line_height_px(self.size_px, bold=self.bold) * len(self.lines)
        return widest + self.key_px + 2 * self.pad_px, high + self.pad_px

    def box_at(self, x: int, y: int) -> Box:
        """The box with its first pixel at (x, y)."""
        w, h = self.size
        return x, y, x + w, y + h

    def draw(self, layer: Layer, x: int, y: int) -> None:
        """Draw it with its first pixel at (x, y)."""
        w, h = self.size
        layer.stamp(rounded(w, h, max(2, self.pad_px // 2)), x, y, self.ground, style.PLATE_ALPHA)
        high = line_height_px(self.size_px, bold=self.bold)
        if self.key is not None:
            end = x + self.pad_px + self.key_px - self.size_px * 0.45
            line = np.array([[x + self.pad_px + 2, y + h / 2], [end, y + h / 2]])
            thirds = [
                line[0] + (line[1] - line[0]) * np.array([[a], [b]]) for a, b in ((0, 0.28), (0.68, 1.0))
            ]
            layer.lines(thirds if self.key.dashed else [line], self.key.colour, self.size_px / 6)
        for k, text in enumerate(self.lines):
            mask, dy = _on_baseline(text, self.size_px, self.bold)
            layer.stamp(
                mask, x + self.pad_px + self.key_px, y + self.pad_px // 2 + k * high + dy, self.colour
            )


def _on_baseline(text: str, size_px: int, bold: bool) -> tuple[NDArray[np.uint8], int]:
    """The letters, and how far below the line's top they begin."""
    return text_mask(text, size_px, bold=bold), top_px(text, size_px, bold=bold)


def rounded(width: int, height: int, radius: int) -> NDArray[np.uint8]:
    """Coverage of a rectangle with round corners."""
    mask = np.zeros((height, width), np.uint8)
    r = min(radius, width // 2, height // 2)
    mask[r : height - r] = 255
    mask[:, r : width - r] = 255
    for x in (r, width - 1 - r):
        for y in (r, height - 1 - r):
            cv2.circle(mask, (x, y), r, 255, -1, cv2.LINE_AA)
    return mask


def beside(plate: Plate, anchor: Point, gap_px: float, room: Room) -> Box | None:
    """The cheapest box for words beside `anchor`, `gap_px` off it or a little more; None when none is inside."""
    w, h = plate.size
    best: tuple[float, Box] | None = None
    for extra in FARTHER:
        for dx, dy in _DIRECTIONS:
            reach = gap_px + extra * h
            diagonal = 0.75 if abs(dx * dy) == 1 else 1.0
            cx = anchor[0] + dx * (reach * diagonal + w / 2)
            cy = anchor[1] + dy * (reach * diagonal + h / 2)
            box = plate.box_at(round(cx - w / 2), round(cy - h / 2))
            cost = room.cost(box) + extra * FAR_COST
            # the line's own price is reckoned only where it can still matter
            if extra and (best is None or cost < best[0]) and np.isfinite(cost):
                cost += _lead_cost(box, anchor, gap_px, plate.size_px, room)
            if np.isfinite(cost) and (best is None or cost < best[0]):
                best = (cost, box)
    return best[1] if best else None


def _lead_line(box: Box, anchor: Point, gap_px: float, size_px: int) -> NDArray[np.float64] | None:
    """From words that had to move away to the thing that they name, shape (2, 2); None where they stand beside it."""
    near = np.array([min(max(anchor[0], box[0]), box[2]), min(max(anchor[1], box[1]), box[3])], float)
    away = np.asarray(anchor) - near
    distance = float(np.hypot(*away))
    if distance < gap_px + 0.5 * size_px:
        return None
    return np.array([near, near + away * (1 - gap_px * 0.8 / distance)])


def _lead_cost(box: Box, anchor: Point, gap_px: float, size_px: int, room: Room) -> float:
    """What the line from these words to their thing costs: twelfths of it on something solid, other such lines, ways."""
    line = _lead_line(box, anchor, gap_px, size_px)
    if line is None:
        return 0.0
    points = line[0] + np.linspace(0.04, 0.96, 12)[:, None] * (line[1] - line[0])
    solid = sum(
        any(b[0] <= x < b[2] and b[1] <= y < b[3] for b in (*room.solid, *room.words)) for x, y in points
    )
    leads = sum(crossings(line, lead) for lead in room.leads)
    leads += sum(_runs_under(line, b) for b in room.words)
    ways = sum(crossings(line, way) for way in room.ways)
    return CROSSING_COST * solid + CROSSED_LEAD * leads + CROSSED_WAY * ways


def crossings(line: NDArray[np.float64], way: NDArray[np.float64]) -> int:
    """How often a stretch, shape (2, 2), crosses a polyline, shape (N, 2)."""
    if len(way) < 2:
        return 0
    (ax, ay), (bx, by) = line

    def side(points: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray((bx - ax) * (points[:, 1] - ay) - (by - ay) * (points[:, 0] - ax))

    here = side(way)
    d = np.diff(way, axis=0)
    start = d[:, 0] * (ay - way[:-1, 1]) - d[:, 1] * (ax - way[:-1, 0])
    end = d[:, 0] * (by - way[:-1, 1]) - d[:, 1] * (bx - way[:-1, 0])
    return int(np.sum((here[:-1] * here[1:] < 0) & (start * end < 0)))


def _runs_under(line: NDArray[np.float64], box: Box) -> bool:
    """Whether a stretch enters a box."""
    x0, y0, x1, y1 = box
    rim = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)], float)
    inside = any(x0 < x < x1 and y0 < y < y1 for x, y in line)
    return inside or crossings(line, rim) > 0


def put(layer: Layer, plate: Plate, anchor: Point, gap_px: float, room: Room) -> Box | None:
    """Draw words beside a thing and take their room."""
    box = beside(plate, anchor, gap_px, room)
    if box is not None:
        _lead(layer, box, anchor, gap_px, plate.size_px)
        plate.draw(layer, box[0], box[1])
        room.words.append(box)
        line = _lead_line(box, anchor, gap_px, plate.size_px)
        if line is not None:
            room.leads.append(line)
    return box


def _lead(layer: Layer, box: Box, anchor: Point, gap_px: float, size_px: int) -> None:
    """A thin line from words that had to move away to the thing that they name."""
    line = _lead_line(box, anchor, gap_px, size_px)
    if line is not None:
        layer.lines([line], style.PLATE, max(3, size_px / 6))
        layer.lines([line], style.WHITE, max(1, size_px / 16))


def headline(text: str, sizes: style.Sizes, across_px: int | None = None) -> Plate:
    """A headline in at most three lines that fit the picture's width, or the part of it that is told.

    It is broken between its parts where it has any, and written a little smaller where that saves a third line.
    """
    room = round((across_px or sizes.width_px) * 0.94)
    plates = [_headline(text, round(sizes.headline_px * share), room) for share in HEADLINE_SHARES]
    return next((p for p in plates if len(p.lines) <= 2), plates[0])


def headlines(text: str, sizes: style.Sizes, across_px: int | None = None) -> list[Plate]:
    """The usual headline, and where its words fit a narrower one that has room between two pockets."""
    across = across_px or sizes.width_px
    plates = [headline(text, sizes, across)]
    for size in dict.fromkeys(round(sizes.headline_px * share) for share in HEADLINE_SHARES):
        plate = _headline(text, size, round(across * NARROW_HEADLINE))
        # more than three lines are cut, so words could be lost
        if (
            plate.size[0] < plates[0].size[0]
            and " ".join(plate.lines).split() == " ".join(plates[0].lines).split()
        ):
            return [*plates, plate]
    return plates


def best_headline(plates: Sequence[Plate], room: Room, margin_px: int, *, top: bool) -> tuple[Plate, Box]:
    """The headline and its place that hide least; the first plate where equal, and each further line counts."""
    placed = [(p, headline_box(p, room, margin_px, top=top)) for p in plates]
    return min(placed, key=lambda pb: room.cost(pb[1]) + LINE_COST * len(pb[0].lines))


def _headline(text: str, size: int, room: int) -> Plate:
    if width_px(text, size) <= room:
        return Plate(tuple(wrapped(text, size, room)), size)
    lines: list[str] = []
    for part in text.split(" · "):
        joined = f"{lines[-1]} · {part}" if lines else part
        if lines and width_px(joined, size) <= room:
            lines[-1] = joined
        else:
            lines += balanced(part, size, room)
    return Plate(tuple(lines[:3]), size)


def headline_box(plate: Plate, room: Room, margin_px: int, *, top: bool) -> Box:
    """At the top or the bottom edge, left, middle, right or between: where it hides least; left where equal.

    Where it would cover a pocket there, it may stand just past the pockets of that edge.
    """
    w, h = plate.size
    y = margin_px if top else room.height - h - margin_px
    past = _past_pockets(room, margin_px, h, top=top)
    right = room.width - w - margin_px
    between = np.linspace(margin_px, max(margin_px, right), HEADLINE_PLACES).astype(int).tolist()
    places = (margin_px, (room.width - w) // 2, right, *between)
    boxes = [
        plate.box_at(max(0, min(x, room.width - w)), max(0, at))
        for at in dict.fromkeys((y, past))
        for x in places
    ]
    cost = [room.cost(b) + (PAST_COST if b[1] != max(0, y) else 0.0) for b in boxes]
    return boxes[int(np.argmin(cost))]


def _past_pockets(room: Room, margin_px: int, high: int, *, top: bool) -> int:
    """First pixel row of a headline that stands just past the pockets next to the top or the bottom edge."""
    half = room.height / 2
    if top:
        ends = [b[3] for b in room.pockets if b[3] < half and b[1] < margin_px + high]
        return max(ends, default=margin_px - 1) + 1
    starts = [b[1] for b in room.pockets if b[1] > half and b[3] > room.height - margin_px - high]
    return min(starts, default=room.height - margin_px) - high


def free_place(size: tuple[int, int], room: Room, prefer: Sequence[Box], margin_px: int) -> Box | None:
    """Where along the picture's edges a box of this size hides nothing solid and no way, and least of `prefer`.

    `prefer` are boxes better left uncovered (the playing surface). None when every place hides something.
    """
    w, h = size
    xs = np.linspace(margin_px, room.width - w - margin_px, 9).astype(int)
    ys = np.linspace(margin_px, room.height - h - margin_px, 7).astype(int)
    if room.width < w + 2 * margin_px or room.height < h + 2 * margin_px:
        return None
    edge = {(x, y) for x in xs for y in ys if x in (xs[0], xs[-1]) or y in (ys[0], ys[-1])}
    boxes = ((int(x), int(y), int(x) + w, int(y) + h) for x, y in edge)
    free = [b for b in boxes if room.cost(b, pockets=False) == 0]

    def hides(b: Box) -> tuple[int, int, int]:
        pockets = sum(bool(overlap(b, p)) for p in room.pockets)
        return pockets, sum(overlap(b, p) for p in prefer), b[0] + b[1]

    return min(free, key=hides, default=None)

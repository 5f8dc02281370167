"""A layout that can lie so: balls that measuring errors push into each other or into a cushion are moved apart."""

from __future__ import annotations

from math import hypot

from lessonkit.model import CUE_BALL, Layout, Point, Table
from lessonkit.physics.cushions import cushions_of

GAP_MM = 1e-3
ROUNDS = 60


def apart(layout: Layout, table: Table) -> Layout:
    """The layout with no ball overlapping another or a nose; balls that do not overlap keep their places.

    Overlapping balls share the way, but the cue ball, which the drawing of a plan starts from, moves last. A few rounds
    of pushing suffice for the millimetres of a camera; a layout that cannot be parted comes back as far as it got.
    """
    places = {n: _off_noses(p, table) for n, p in layout.items()}
    D = table.ball_diameter_mm
    names = sorted(places)
    for _ in range(ROUNDS):
        pushed = False
        for i, a in enumerate(names):
            for b in names[i + 1 :]:
                (ax, ay), (bx, by) = places[a], places[b]
                if abs(bx - ax) >= D or abs(by - ay) >= D:
                    continue
                d = hypot(bx - ax, by - ay)
                if d >= D:
                    continue
                ux, uy = ((bx - ax) / d, (by - ay) / d) if d > 0.0 else (1.0, 0.0)
                share = 0.0 if a == CUE_BALL else 0.5
                need = D + GAP_MM - d
                places[a] = _off_noses((ax - ux * need * share, ay - uy * need * share), table)
                places[b] = _off_noses((bx + ux * need * (1 - share), by + uy * need * (1 - share)), table)
                pushed = True
        if not pushed:
            break
    return places


def _off_noses(place: Point, table: Table) -> Point:
    """A place at least the touch distance from every nose that it lies alongside."""
    x, y = place
    edges = cushions_of(table)
    for face in edges.noses:
        dx, dy = face.ex - face.sx, face.ey - face.sy
        along = (x - face.sx) * dx + (y - face.sy) * dy
        gap = (face.sx - x) * face.nx + (face.sy - y) * face.ny - edges.touch_mm
        if gap < 0.0 and 0.0 <= along <= dx * dx + dy * dy:
            x, y = x + gap * face.nx, y + gap * face.ny
    return x, y

"""Words beside things on a still, and marks at balls that a person should check."""

from __future__ import annotations

from collections.abc import Sequence

from lessonkit.lesson import projected
from lessonkit.lesson.labels import LABEL_POCKET_COST, Key, Plate, Room, put
from lessonkit.lesson.picture import Layer
from lessonkit.lesson.scene import Set, Step, copying
from lessonkit.model import Layout, Point

APPEARS = 0.05
"""Share of the piece in which words fade in."""
DOUBT = "?"
DOUBT_SHARE = 0.72
"""Size of the mark at a doubtful ball, to that of a label: to be found by who looks for it."""


class Naming:
    """Places words when steps are made, in the order of telling, so that later ones keep off earlier ones."""

    def __init__(self, scene: Set, *, inset: bool) -> None:
        """`inset`: whether the diagram is in the picture, so that words must keep off it."""
        taken = scene.taken
        solid = [b for b in taken.solid if inset or b != scene.inset_box]
        self.room = Room(
            taken.width,
            taken.height,
            solid,
            list(taken.soft),
            pockets=taken.pockets,
            pocket_cost=LABEL_POCKET_COST,
            ways=list(taken.ways),
        )
        self.steps: list[Step] = []
        self._scene = scene

    def add(
        self, text: str | Sequence[str], at: Point, gap_mm: float, start: float, name: str, *, key: Key | None = None,
        share: float = 1.0,
    ) -> bool:  # fmt: skip
        """Words beside a place, `gap_mm` off it, that appear with the step `name`; whether they found room.

        `share` is their size to that of a label.
        """
        pen = self._scene.pen
        layer = Layer(pen.sizes.width_px, pen.sizes.height_px)
        anchor = pen.px([at])[0]
        gap = (
            gap_mm * projected.px_per_mm(pen.camera, at) + 3
        )  # boxes around balls are whole pixels and a little larger
        lines = (text,) if isinstance(text, str) else tuple(text)
        plate = Plate(lines, max(10, round(pen.sizes.label_px * share)), key=key)
        box = put(layer, plate, (float(anchor[0]), float(anchor[1])), gap, self.room)
        if box is None:
            return False
        self.steps.append(Step(start, start + APPEARS, copying(layer), on_cloth=False, name=name))
        return True

    def doubts(self, layout: Layout) -> None:
        """A small question mark at each ball whose number or place is doubtful; it stands from the start."""
        pen = self._scene.pen
        for ball in self._scene.shot.seen.doubtful:
            if ball in layout:
                self.add(DOUBT, layout[ball], 1.8 * pen.table.radius_mm, -1.0, "", share=DOUBT_SHARE)

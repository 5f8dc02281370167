"""The little plate that says that footage does not run at its own speed."""

from __future__ import annotations

from fractions import Fraction

from lessonkit.lesson import style
from lessonkit.lesson.labels import Plate, Room, free_place
from lessonkit.lesson.picture import Layer, Overlay
from lessonkit.lesson.scene import Set


def speed_words(speed: float) -> str | None:
    """'half speed', 'slow, × 0.3', 'fast, × 2'; None at the footage's own speed."""
    if abs(speed - 1.0) < 1e-6:
        return None
    named = {
        Fraction(1, 2): "half speed",
        Fraction(1, 4): "quarter speed",
        Fraction(1, 3): "a third of the speed",
    }
    return named.get(
        Fraction(speed).limit_denominator(100), f"{'slow' if speed < 1 else 'fast'}, × {speed:.3g}"
    )


def speed_badge(speed: float, scene: Set | None, size: tuple[int, int]) -> Overlay | None:
    """The plate, at the picture's edge where it hides least; None at the footage's own speed."""
    words = speed_words(speed)
    if words is None:
        return None
    sizes = style.Sizes(*size)
    plate = Plate((words,), sizes.label_px)
    room = scene.taken if scene is not None else Room(*size)
    margin = max(4, round(sizes.short_px * 0.012))
    box = free_place(plate.size, room, [], margin) or plate.box_at(margin, size[1] - margin - plate.size[1])
    layer = Layer(*size)
    plate.draw(layer, box[0], box[1])
    return layer.overlay()

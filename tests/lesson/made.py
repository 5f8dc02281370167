"""Invented shots to cut lessons from: two balls, a few seconds each, no footage behind them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from lessonkit.model import (
    Analysis,
    Camera,
    Comparison,
    Event,
    Footage,
    Head,
    Intent,
    Note,
    Plan,
    Pocketed,
    SeenShot,
    Shot,
    StrokeEstimate,
    Table,
)

TABLE = Table("9ft", 2540.0, 1270.0)
SENTENCE = "The cue ball stopped 180 mm short of the place."


def camera() -> Camera:
    """Straight above the table's middle."""
    matrix = np.array([[1500.0, 0, 960], [0, 1500.0, 540], [0, 0, 1]])
    return Camera(matrix, np.zeros(4), np.array([np.pi, 0, 0]), np.array([-1270.0, 635.0, 3000.0]), 0.4)


def seen(number: int, strike_s: float, rest_s: float, **more: Any) -> SeenShot:
    """The nine goes in at foot-left, a fifth of the way through the shot."""
    drop_s = strike_s + (rest_s - strike_s) * 0.2
    path = np.array([[strike_s, 600.0, 600.0], [rest_s, 1500.0, 900.0]])
    shot = SeenShot(
        number=number, strike_s=strike_s, rest_s=rest_s,
        layout_before={0: (600.0, 600.0), 9: (2000.0, 900.0)}, layout_after={0: (1500.0, 900.0)}, doubtful=(),
        cue_path=path, paths={9: np.array([[drop_s - 0.1, 2000.0, 900.0], [drop_s, 2540.0, 1270.0]])},
        events=(Event(drop_s - 0.1, "ball", (0, 9)), Event(drop_s, "pocket", (9,), None, "foot-left")),
        pocketed=(Pocketed(9, "foot-left", drop_s),), fullness=0.5,
    )  # fmt: skip
    return replace(shot, **more)


def note(text: str, t_s: float | None = 1.0, **intent: Any) -> Note:
    """A note with what was understood of it given beside."""
    return Note(t_s, text, 1, Intent(**intent))


PLAN = Plan(
    9,
    "foot-left",
    "draw",
    "left",
    "firm",
    0,
    (1500.0, 720.0),
    ((600.0, 600.0), (1900.0, 880.0), (1500.0, 720.0)),
    "predicted",
)
COMPARISON = Comparison(True, 180.0, 95.0, 0, 1, "short", SENTENCE)


def shot(number: int, strike_s: float, rest_s: float, text: str | None = None, **more: Any) -> Shot:
    """With `text` a shot that has a note, a plan and a comparison; without, one nobody wrote about."""
    if text is None:
        return Shot(seen(number, strike_s, rest_s, **more))
    return Shot(
        seen(number, strike_s, rest_s, **more),
        note(text, strike_s - 1, ball=9, pocket="foot-left"),
        (),
        PLAN,
        comparison=COMPARISON,
        stroke=StrokeEstimate(2.1, 0.2, None),
    )


def analysis(
    *shots: Shot, duration_s: float = 120.0, fps: float = 30.0, head: Head | None = None
) -> Analysis:
    """Shots of one invented clip."""
    footage = Footage("practice.mp4", 1920, 1080, fps, round(duration_s * fps), duration_s)
    return Analysis(footage, TABLE, camera(), shots, head or Head())


def rack(texts: list[str | None], fps: float = 30.0) -> Analysis:
    """One shot of four seconds for each text, ten seconds apart."""
    shots = [shot(i + 1, 5.0 + 10 * i, 9.0 + 10 * i, t) for i, t in enumerate(texts)]
    return analysis(*shots, duration_s=10.0 * len(texts) + 5.0, fps=fps)

"""The options of a layout as a table to read and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from lessonkit.model import CUE_BALL, Layout
from lessonkit.tactics.options import Option

HEADINGS = (
    "",
    "ball",
    "pocket",
    "way",
    "stroke",
    "pot",
    "scratch",
    "next",
    "both",
    "cue ball",
    "stops at",
    "then",
)


def table(options: Sequence[Option], title: str) -> str:
    """The options under a title, one a line; a sentence instead where there are none."""
    if not options:
        return f"{title}\nNo ball can be potted from here: no straight way, bank off one cushion or combination was found."
    rows = [HEADINGS, *(_row(k, o) for k, o in enumerate(options, start=1))]
    widths = [max(len(row[c]) for row in rows) for c in range(len(HEADINGS))]
    lines = ["  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip() for row in rows]
    return "\n".join([title, *lines])


def _row(number: int, o: Option) -> tuple[str, ...]:
    way = (
        "off the " + ", ".join(o.bank) if o.bank else "off the " + ", ".join(map(str, o.via)) if o.via else ""
    )
    side = "" if o.side == "none" else f", {o.side}"
    rails = [e.cushion for e in o.contacts if e.kind == "cushion" and e.balls == (CUE_BALL,) and e.cushion]
    x, y = o.cue_path[-1]
    then = (
        f"the {o.next_ball}, {o.next_pocket}"
        if o.next_ball is not None
        else "no ball left"
        if o.next_chance is None
        else ""
    )
    return (
        str(number), str(o.ball), o.pocket, way or "straight", f"{o.speed} {o.stroke}{side}", _percent(o.pot_chance),
        _percent(o.scratch_chance), _percent(o.next_chance), _percent(o.score),
        "by " + ", ".join(rails) if rails else "no rail", f"{x:.0f}, {y:.0f}", then,
    )  # fmt: skip


def _percent(share: float | None) -> str:
    return "-" if share is None else f"{100 * share:.0f} %"


def as_json(options: Sequence[Option]) -> list[dict[str, Any]]:
    """The options as plain JSON values; docs/tactics.md gives the fields."""
    return [{"rank": k, **_rounded(asdict(o))} for k, o in enumerate(options, start=1)]


def _rounded(value: Any) -> Any:
    """Numbers to three digits after the point, all the way down."""
    if isinstance(value, dict):
        return {k: _rounded(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(v) for v in value]
    return round(value, 3) if isinstance(value, float) else value


def layout_json(layout: Layout) -> dict[str, list[float]]:
    """A layout as analysis.json writes it."""
    return {str(n): [round(x, 2), round(y, 2)] for n, (x, y) in sorted(layout.items())}

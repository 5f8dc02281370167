"""The table's own figures and a stroke's differences from the plan as words with units, for the report."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

from lessonkit.comparing.difference_words import RADIUS_MM
from lessonkit.gauging.figures import roll_time_s
from lessonkit.model import Account, Comparison, Difference, Figure, Table, TableFigures
from lessonkit.publish.figures import NOT_MEASURED, capital

WHAT: dict[Account, str] = {
    "fullness": "Fullness of the hit",
    "speed": "Speed",
    "tip_up": "Tip, up or down",
    "tip_left": "Tip, to the side",
}
UNITS: dict[Account, str] = {"fullness": "of a ball", "speed": "m/s", "tip_up": "mm", "tip_left": "mm"}


@dataclass(frozen=True)
class Row:
    """One difference: as meant, as played, and what it alone brings about."""

    what: str
    meant: str
    played: str
    alone: str


def table_facts(figures: TableFigures | None, table: Table) -> list[tuple[str, str]]:
    """Name and value of what the tracked balls tell of the table; empty where it was not looked for."""
    if figures is None:
        return []
    roll = _figure(figures.rolling, 4, "stretches of way")
    if figures.rolling.measured and isfinite(figures.rolling.value) and figures.rolling.value > 0:
        time = roll_time_s(figures, table)
        roll += f"; a ball that just dies at the far cushion takes {time:.1f}\u00a0s from end to end"
    return [
        ("Rolling resistance", roll),
        ("Friction of the cloth", _figure(figures.sliding, 3, "stretches of way")),
        ("Rebound of the cushions", _figure(figures.rebound, 2, "rebounds")),
        ("Grip of the cushions", _figure(figures.cushion_grip, 2, "rebounds")),
    ]


def _figure(f: Figure, digits: int, of: str) -> str:
    if not f.measured:
        return f"too little to tell; the usual {f.value:.{digits}f} is used"
    return f"{f.value:.{digits}f} ± {f.error:.{digits}f}, from {f.stretches} {of}"


def difference_rows(c: Comparison | None) -> list[Row]:
    """The stroke meant beside the stroke played; empty where there is nothing to compare."""
    return [_row(d) for d in c.differences] if c is not None else []


def _row(d: Difference) -> Row:
    share = "" if d.explains is None else f"{round(100 * min(max(d.explains, 0.0), 1.0))}\u00a0%"
    if d.actual is None:
        return Row(WHAT[d.account], _value(d.account, d.planned), NOT_MEASURED, "")
    played = _value(d.account, d.actual)
    if d.words is not None:
        played += f": {d.words}"
    return Row(WHAT[d.account], _value(d.account, d.planned), played, share)


def _value(account: Account, value: float) -> str:
    """'0.42 of a ball', '1.7 m/s', '8 mm above', '2 mm left', 'centre'."""
    if not isfinite(value):
        return NOT_MEASURED
    if account == "fullness":
        return f"{value:.2f} {UNITS[account]}"
    if account == "speed":
        return f"{value:.2f}\u00a0{UNITS[account]}"
    mm = round(value * RADIUS_MM)
    if mm == 0:
        return capital("centre")
    way = ("above", "below") if account == "tip_up" else ("left", "right")
    return f"{abs(mm)}\u00a0{UNITS[account]} {way[0] if mm > 0 else way[1]}"

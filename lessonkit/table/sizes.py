"""The sizes of pool tables, and of what lies on them, in millimetres.

Sources: World Pool-Billiard Association (WPA), Tournament Table & Equipment Specifications (2001): playing surfaces of
9 ft and 8 ft (clause 5), nose height 63.5 % of a ball (clause 7), sights (clause 6), mouths (clause 9), balls (clause
16). The 7 ft surface is the customary 80 x 40 in (CueSports International equipment specification; no WPA size). The
figures stand in shared/table.toml as well, with their sources, and the tests hold this module against that file.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from lessonkit.errors import TableError
from lessonkit.model import Table

INCH_MM = 25.4
BALL_DIAMETER_MM = 57.15
NOSE_HEIGHT_MM = 36.29
SIGHT_FROM_NOSE_MM = 93.6625
CORNER_MOUTH_MM = 115.9
"""Middle of the published range, tip to tip: 114.3 to 117.475."""
SIDE_MOUTH_MM = 128.6
"""Middle of the published range: 127.0 to 130.175."""

SURFACES_MM: dict[str, tuple[float, float]] = {
    "9ft": (2540.0, 1270.0),
    "8ft": (2336.8, 1168.4),
    "7ft": (2032.0, 1016.0),
}
ALTERNATES_MM: dict[str, tuple[float, float]] = {
    "8ft (90 x 45 in)": (2286.0, 1143.0),
    "8ft (88 x 44 in)": (2235.2, 1117.6),
    "7ft (78 x 39 in)": (1981.2, 990.6),
    "7ft (76 x 38 in)": (1930.4, 965.2),
}
"""Other surfaces that are met; the first from CueSports International, the rest from memory. Ask for them as LxW."""

SHORTEST_MM, LONGEST_MM = 1000.0, 4000.0


@dataclass(frozen=True)
class Sight:
    """A mark on a rail: the side it is on and how far along that side it lies."""

    side: str
    """'right', 'foot', 'left' or 'head'."""
    along_mm: float
    """x on the long rails, y on the short ones."""


def table_of_size(size: str) -> Table:
    """The table named '9ft', '8ft', '7ft' or 'LxW' (nose to nose, millimetres; the longer side may come second).

    Raises TableError for anything else, and for sizes that no pool table has.
    """
    name = re.sub(r"\s+", "", size.lower()).replace("×", "x").removesuffix("mm")
    if name in SURFACES_MM:
        length, width = SURFACES_MM[name]
        return _table(name, length, width)
    found = re.fullmatch(r"(\d{3,4}(?:\.\d+)?)(?:mm)?x(\d{3,4}(?:\.\d+)?)", name)
    if not found:
        raise TableError(
            f"The table size '{size}' is not known: give 9ft, 8ft, 7ft, or the playing surface from nose to nose in "
            "millimetres as LENGTHxWIDTH, such as 2540x1270."
        )
    width, length = sorted((float(found[1]), float(found[2])))
    if not (SHORTEST_MM <= length <= LONGEST_MM and 1.2 <= length / width <= 3.0):
        raise TableError(
            f"A playing surface of {length:g} by {width:g} mm is no pool table's: measure from nose to nose, in millimetres."
        )
    return _table(f"{length:g}x{width:g}", length, width)


def sights(table: Table) -> tuple[Sight, ...]:
    """The 18 sights: eighths of the length (none at the side pocket), quarters of the width (WPA Rules of Play 8.1)."""
    longs = [Sight(s, table.length_mm * i / 8) for s in ("right", "left") for i in (1, 2, 3, 5, 6, 7)]
    shorts = [Sight(s, table.width_mm * i / 4) for s in ("foot", "head") for i in (1, 2, 3)]
    return (*longs, *shorts)


_USUAL = {"9ft": 0.4, "8ft": 0.2, "8ft (88 x 44 in)": 0.12, "7ft": 0.12, "7ft (78 x 39 in)": 0.1}
"""How often a surface is met, roughly (common practice, no source); the others 0.03."""


SIGHT_TOLERANCE = 0.015
"""Standard deviation, as a share, of how far from the nose makers set the sights: WPA allows 3 11/16 to 3 13/16 in."""
ASTRAY, ASTRAY_BY = 0.07, 0.08
"""How often balls' widths lead astray (dark balls, print, a bad picture), and by how much then, as a share (scenes of known
truth)."""


def likeliest_size(
    length_in_balls: float | None, doubt: float, length_by_sights_mm: float | None = None
) -> tuple[Table, float]:
    """The surface that fits the evidence best, and its probability.

    `length_in_balls`: the length in ball diameters (9 ft: 2540 / 57.15 = 44.44; 8 ft: 40.89; 7 ft: 35.56), `doubt` its
    sigma as a share. `length_by_sights_mm`: the length if the sights lie as far behind the nose as published; no ball
    is needed for it. Either may be None. What is met more often is preferred where two are near; surfaces other than
    9, 8 and 7 ft are named LxW.
    """
    measured = [] if length_in_balls is None else [(length_in_balls * BALL_DIAMETER_MM, doubt, ASTRAY)]
    if length_by_sights_mm is not None:
        measured.append((length_by_sights_mm, SIGHT_TOLERANCE, 0.0))
    chances = {}
    for name, (length, width) in {**SURFACES_MM, **ALTERNATES_MM}.items():
        chance = _USUAL.get(name, 0.03)
        for got, sigma, astray in measured:
            chance *= _likelihood(math.log(got / length), sigma, astray)
        chances[name] = (chance, length, width)
    best = max(chances, key=lambda n: chances[n][0])
    chance, length, width = chances[best]
    total = sum(c[0] for c in chances.values())
    table = table_of_size(best if best in SURFACES_MM else f"{length:g}x{width:g}")
    return table, chance / total if total > 0 else 0.0


def _likelihood(off: float, sigma: float, astray: float) -> float:
    """Of a share that is measured `off` by (a natural logarithm), where one in `1 / astray` goes anywhere near."""
    near = math.exp(-0.5 * (off / sigma) ** 2) / sigma
    far = math.exp(-0.5 * (off / ASTRAY_BY) ** 2) / ASTRAY_BY
    return (1 - astray) * near + astray * far


def _table(name: str, length: float, width: float) -> Table:
    return Table(
        name, length, width, BALL_DIAMETER_MM, NOSE_HEIGHT_MM, CORNER_MOUTH_MM, SIDE_MOUTH_MM
    )  # fmt: skip

"""Places on the table: words and figures -> a centre and a radius in table millimetres.

Words are first marked one by one as bounds of x (along the table, 0 at the head, 1 at the foot) or of y (across it,
0 at the right cushion, 1 at the left), as `atx_FROM_TO` and `aty_FROM_TO` in shares of the table, or as a whole place
`atp_X_Y_RADIUS` in millimetres. Bounds that stand together are then met into one place: "left half of the foot third"
is y 0.5..1 and x 2/3..1. The radius is that of the circle with the same area.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from lessonkit.model import Landing, Pocket, Point, Table
from lessonkit.notes import sights
from lessonkit.notes.numbers import AMOUNT, MM_OF, amount
from lessonkit.notes.words import Phrase

NEAR_MM = 200.0
"""How far from a cushion 'near' reaches; common practice, no source."""
SPOT_RADIUS_MM = 120.0
POCKET_RADIUS_MM = 180.0
_JOIN = r"(?:of|the|at|on|in|,|and|by|near|toward|just|but|a|bit|little|slightly|to|side|table|over|down|up|around|about|somewhere|end|from|out)"
_NEAR = (
    r"(?:(?:right |very |just |tight |snug |nice and |up |back |all the way |down |over |across |out |hard |along )*"
    r"(?:frozen(?: (?:to|on|against|at|by))?|stuck (?:to|on|against)|until|till|up to|as far as|near|by|close to|next to|against|along|beside|toward|on|hugging|at|around|alongside|tight to|to|down to|destination|destination is|goal|target|target is|finish|finishes|finishing|ending|goal is|short of|above|before)"
    r"(?: to)? )(?:the |my |your )?"
)
_PASSED = re.compile(
    r"(?:off|from|via|into|in to|using|first|hit|hits|touch|touches|kick|bank|down|along|up|and|then)(?: of)?(?: the)? $|(?:near|by|to|on|toward|at|against|beside) (?:the )?$"
)
"""What before a cushion says that it is met on the way, or that it is a place already."""


@dataclass(frozen=True)
class _Bounds:
    x: tuple[float, float]
    y: tuple[float, float]


def _x(low: float, high: float) -> str:
    return f"atx_{low:.4f}_{high:.4f}"


def _y(low: float, high: float) -> str:
    return f"aty_{low:.4f}_{high:.4f}"


_THIRDS = {"head": (0.0, 1 / 3), "middle": (1 / 3, 2 / 3), "centre": (1 / 3, 2 / 3), "foot": (2 / 3, 1.0)}
_HALVES = {"head": (0.0, 0.5), "foot": (0.5, 1.0)}
_QUARTERS = {"head": (0.0, 0.25), "foot": (0.75, 1.0)}
_STRINGS = {"head": 0.25, "foot": 0.75, "centre": 0.5}
_SIDES = {"left": (0.5, 1.0), "right": (0.0, 0.5)}
_SPOTS = {"head": 0.25, "foot": 0.75, "centre": 0.5}


def rewrite(phrase: Phrase, table: Table) -> None:
    """Words of place into `place_X_Y_RADIUS` (millimetres); pockets and cushions must be tags already."""
    _points(phrase, table)
    sights.rewrite(phrase, NEAR_MM / table.length_mm, NEAR_MM / table.width_mm)
    _distances(phrase, table)
    _along(phrase, table)
    _across(phrase, table)
    _merge(phrase, table)


def _point(x: float, y: float, radius: float) -> str:
    return f"atp_{x:.1f}_{y:.1f}_{radius:.0f}"


def _points(phrase: Phrase, table: Table) -> None:
    L, W = table.length_mm, table.width_mm
    phrase.replace(r"(head|foot|centre) spot", lambda m: _point(L * _SPOTS[m[1]], W / 2, SPOT_RADIUS_MM))
    phrase.replace(r"(?:on|at|around|near) (?:the )?spot", lambda m: None)
    phrase.replace(r"(?:dead )?(?:centre|middle|heart) of (?:the )?(?:table|cloth|bed|felt)|(?:dead )?centre table|middle of table",
                   _point(L / 2, W / 2, W / 4))  # fmt: skip
    centre = _point(L / 2, W / 2, W / 4)
    phrase.replace(r"(in|into|to|until|till|toward|around|near|for|at) (?:the )?(?:very |dead )?(?:centre|middle)(?! (?:line|third|string|of|pocket|spot|ball)(?!\S))",
                   rf"\1 {centre}")  # fmt: skip
    phrase.replace(r"out (?:in|to) (?:the )?open", lambda m: None)

    def by_pocket(m: re.Match[str]) -> str | None:
        if m["name"].startswith("?"):
            return _x(0.44, 0.56) if m["name"] == "?side" else None
        px, py = table.pockets[m["name"]]  # type: ignore[index]
        # a hand's breadth inside the table from the pocket, on the way to the table's middle
        dx, dy = L / 2 - px, W / 2 - py
        inward = 0.5 * POCKET_RADIUS_MM / math.hypot(dx, dy)
        return _point(px + dx * inward, py + dy * inward, POCKET_RADIUS_MM)

    phrase.replace(
        r"(?:to|in|into|around|near|by) (?:the )?pocket_(?P<name>\S+) (?:area|region|neighbourhood|neighborhood|zone)",
        by_pocket,
    )
    phrase.replace(
        r"(?:near|by|close to|next to|beside|around|in front of|just (?:above|below|past|short of|outside|off)|outside|alongside|"
        r"(?:in|at|on|into|by|near)? ?the jaws of|in the area of|up by|down by|over by|toward|opposite|at the (?:edge|lip) of|"
        r"just up from|up from|right at|level with|even with)"
        r" (?:the )?pocket_(?P<name>\S+)", by_pocket)  # fmt: skip


def _distances(phrase: Phrase, table: Table) -> None:
    """'a diamond off the left rail', 'two diamonds up from the foot rail', 'a foot off the head rail', 'a ball off'."""
    L, W = table.length_mm, table.width_mm
    unit = "|".join((*MM_OF, "diamond", "hand", "hand width"))
    half = r"(?P<more> and an? half)?"
    pattern = (
        rf"(?P<amount>{AMOUNT}|couple(?: of)?) (?P<unit>{unit}){half} (?:(?:up|out|down|back|in|over|away|short|up table|down table) )?"
        r"(?:from|off|off of|of|away from|short of|up|out of|above|below|to the side of) (?:the )?rail_(?P<rail>head|foot|left|right)"
    )

    def place(m: re.Match[str]) -> str:
        # the sights stand at eighths of the length and quarters of the width: both are L/8 on a two-to-one table
        n = 2.0 if m["amount"].startswith("couple") else amount(m["amount"]) + (0.5 if m["more"] else 0.0)
        along = m["rail"] in ("head", "foot")
        step = (L / 8 if along else W / 4) if m["unit"] == "diamond" else MM_OF.get(m["unit"], 100.0)
        share = min(n * step / (L if along else W), 1.0)
        at = share if m["rail"] in ("head", "right") else 1.0 - share
        width = 0.5 * NEAR_MM / (L if along else W)
        return (_x if along else _y)(max(0.0, at - width), min(1.0, at + width))

    phrase.replace(pattern, place)
    # "a foot off the end rail": a place, but not one that the words single out
    phrase.replace(
        rf"(?:{AMOUNT}|couple(?: of)?) (?:{unit})(?: \S+)? (?:from|off|of|away from|short of) rail_\?",
        "unplaced",
    )
    phrase.replace(r"(?:near|by|close to|next to|against|along|beside|on|at|tight to) rail_\?", "unplaced")


def _along(phrase: Phrase, table: Table) -> None:
    """Bounds of x."""
    near = NEAR_MM / table.length_mm
    phrase.replace(r"(head|foot|middle|centre) third(?: of (?:the )?table)?", lambda m: _x(*_THIRDS[m[1]]))
    phrase.replace(
        r"third (?:at|by|nearest|near|toward) the (head|foot)(?: end| rail)?", lambda m: _x(*_THIRDS[m[1]])
    )
    phrase.replace(r"(head|foot) (?:half|side)(?: of (?:the )?table)?", lambda m: _x(*_HALVES[m[1]]))
    phrase.replace(r"(head|foot) quarter(?: of (?:the )?table)?", lambda m: _x(*_QUARTERS[m[1]]))
    phrase.replace(r"(?P<how>above|behind|below|past|beyond|short of)?(?: ?just)? ?(?:the )?(?P<name>head|foot|centre) string",
                   _string)  # fmt: skip
    phrase.replace(
        r"(?:the )?kitchen|behind the line|(?:in|into) baulk|behind (?:the )?baulk line", _x(0.0, 0.25)
    )
    phrase.replace(rf"{_NEAR}rail_head", _x(0.0, near))
    phrase.replace(rf"{_NEAR}rail_foot", _x(1 - near, 1.0))
    phrase.replace(
        r"rail_(?P<rail>left|right)(?= (?:(?:at|by|near|toward|in|on|,) )*(?:the )?(?:(?:head|foot) end|atx_))",
        lambda m: None if _PASSED.search(m.string[: m.start()]) else f"near rail_{m['rail']}",
    )
    phrase.replace(r"(head|foot)(?: end)?(?: of (?:the )?table)?(?<=end|ble)", lambda m: _x(*_THIRDS[m[1]]))
    phrase.replace(
        r"(?:half way|half the way) (?:down|up|along)(?: the (?:table|bed|cloth))?|half way|in mid table|mid table",
        _x(1 / 3, 2 / 3),
    )
    phrase.replace(
        r"level with the (?:side|middle)s?(?: pocket)?|level with pocket_\?side|between (?:the )?(?:two |2 |both )?(?:side|middle)s|between (?:the )?(?:two |2 |both )?pocket_\?side",
        _x(0.42, 0.58),
    )
    phrase.replace(r"(?:back )?up table|toward the head", _x(0.0, 0.5))
    phrase.replace(
        r"(?:near|at|by|down at|up at|down by|up by|down near|up near) the (head|foot)(?= (?:[.,;]|for|and|with)|$)",
        lambda m: _x(*_THIRDS[m[1]]),
    )
    phrase.replace(r"down table|toward the foot", _x(0.5, 1.0))


def _string(m: re.Match[str]) -> str:
    at, how = _STRINGS[m["name"]], m["how"]
    if how in ("behind", "beyond", "past") and m["name"] != "centre":
        return _x(0.0, at) if m["name"] == "head" else _x(at, 1.0)
    if how == "above":  # above: towards the head, as players say "above the rack"
        return _x(at - 0.08, at)
    if how == "below":
        return _x(at, at + 0.08)
    return _x(at - 0.04, at + 0.04)


def _across(phrase: Phrase, table: Table) -> None:
    """Bounds of y."""
    near = NEAR_MM / table.width_mm
    line = r"(?:centre line|centre|middle line|middle|long string|long axis|axis|midline)"
    phrase.replace(
        r"(left|right)(?: hand)? half(?! (?:tip|ball)(?!\S))(?: of (?:the )?table)?",
        lambda m: _y(*_SIDES[m[1]]),
    )
    phrase.replace(r"(left|right)(?: hand)?(?: side)? (?:quarter|third)(?: of (?:the )?table)?",
                   lambda m: _y(*((2 / 3, 1.0) if m[1] == "left" else (0.0, 1 / 3))))  # fmt: skip
    phrase.replace(
        rf"(?:(?:just|slightly|a (?:little|bit|touch|hair)) )*(?:to the )?(left|right) of (?:the )?{line}(?: of (?:the )?table)?",
        lambda m: _y(*_SIDES[m[1]]),
    )
    phrase.replace(
        rf"{_NEAR}rail_(left|right)", lambda m: _y(1 - near, 1.0) if m[1] == "left" else _y(0.0, near)
    )
    phrase.replace(
        r"(?:on|to|toward|over to|over on) (?:the |my |your )?(left|right)(?: hand)? side(?: of (?:the |that )?table)?(?! of)",
        lambda m: _y(*_SIDES[m[1]]),
    )
    phrase.replace(r"(left|right)(?: hand)? side of (?:the )?table", lambda m: _y(*_SIDES[m[1]]))
    phrase.replace(
        r"(?:on |down |along |to |toward |near )?(?:the )?(?:centre line|middle line|long string|midline)(?: of (?:the )?table)?",
        _y(0.42, 0.58),
    )
    phrase.replace(
        r"(?P<before>at[xp]_\S+ )(?:, )?(?:on|to|toward) (?:the )?(?P<side>left|right)",
        lambda m: f"{m['before']}{_y(*_SIDES[m['side']])}",
    )
    phrase.replace(
        r"(?:on|to|toward) (?:the )?(?P<side>left|right)(?: ,)?(?P<after> (?:near |at |by |in |of |the )*at[xp]_\S+)",
        lambda m: f"{_y(*_SIDES[m['side']])}{m['after']}",
    )
    phrase.replace(
        r"(?P<side>left|right)(?P<after>(?: of| part of| side of| portion of| section of| area of| end of)(?: the)? atx_\S+)",
        lambda m: f"{_y(*_SIDES[m['side']])}{m['after']}",
    )


def _numbers(tag: str) -> list[float]:
    return [float(v) for v in tag.split("_")[1:]]


def _meet(tags: list[str], table: Table) -> str:
    """One place of all bounds that stand together; a bound that contradicts those before it is left out."""
    L, W = table.length_mm, table.width_mm
    x, y, seen = (0.0, 1.0), (0.0, 1.0), False
    for tag in tags:
        v = _numbers(tag)
        if tag.startswith("atp"):
            if not seen and len([t for t in tags if t.startswith("atp")]) >= 1:
                others = [t for t in tags if t != tag and not t.startswith("atp")]
                if not others or v[2] < W / 4:
                    return f"place_{v[0]:.1f}_{v[1]:.1f}_{v[2]:.0f}"
            continue
        low, high = v
        now = x if tag.startswith("atx") else y
        met = (max(now[0], low), min(now[1], high))
        if met[0] < met[1] - 1e-9:
            seen = True
            x, y = (met, y) if tag.startswith("atx") else (x, met)
    width, height = (x[1] - x[0]) * L, (y[1] - y[0]) * W
    radius = math.sqrt(width * height / math.pi)
    return f"place_{(x[0] + x[1]) / 2 * L:.1f}_{(y[0] + y[1]) / 2 * W:.1f}_{radius:.0f}"


def _merge(phrase: Phrase, table: Table) -> None:
    lead = r"(?:(?:in|at|on|near|by|around|close to|behind|just|about|somewhere) )*(?:the )?"
    run = rf"{lead}at[xyp]_\S+(?:(?: {_JOIN}){{0,4}} at[xyp]_\S+)*"

    def one(m: re.Match[str]) -> str:
        return _meet([t for t in m[0].split() if re.match(r"at[xyp]_", t)], table)

    phrase.replace(run, one)


def place_of(tag: str) -> tuple[Point, float]:
    """Centre and radius, millimetres, of a `place_...` tag."""
    x, y, radius = _numbers(tag)
    return (x, y), radius


def figures(tag: str, table: Table) -> Point | None:
    """The place that an `xy_...` or `diamonds_...` tag gives; None off the table.

    Diamonds count along the table from the head and across it from the right cushion, 0 at the nose lines.
    """
    a, b = _numbers(tag)
    if tag.startswith("diamonds"):
        a, b = a * table.length_mm / 8, b * table.width_mm / 4
    return (a, b) if 0 <= a <= table.length_mm and 0 <= b <= table.width_mm else None


def named(words: str, table: Table) -> Landing:
    """The landing that a place name means; its point is None when the words cannot be put on the table."""
    from lessonkit.notes import cushions, numbers, pockets

    phrase = Phrase.of(words)
    for step in (numbers.rewrite, pockets.rewrite, cushions.rewrite):
        step(phrase)
    given = phrase.find(r"(?:xy|diamonds)_\S+")
    if given:
        return Landing(figures(given[0][0], table), words.strip(), True, 60.0)
    rewrite(phrase, table)
    found = phrase.find(r"place_\S+")
    if not found:
        pocket = phrase.find(r"pocket_(head-right|side-right|foot-right|head-left|side-left|foot-left)")
        if pocket:
            return named(f"near the {pocket[0][1].replace('-', ' ')} pocket", table)
        rail = phrase.find(r"rail_(head|foot|left|right)")
        if rail:
            return named(f"near the {rail[0][1]} rail", table)
        return Landing(None, words.strip(), False)
    point, radius = place_of(found[0][0])
    return Landing(point, words.strip(), False, radius)


__all__ = ["Pocket", "figures", "named", "place_of", "rewrite"]

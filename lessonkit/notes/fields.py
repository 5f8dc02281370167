"""Explicit lines under a note (`landing: 1852, 498`): they say in figures what prose does not, and win over it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any, cast, get_args

from lessonkit.model import Cushion, Intent, Landing, Point, Side, Speed, Stroke, Table
from lessonkit.notes import balls, cushions, numbers, places, pockets
from lessonkit.notes.landing import FIGURES_RADIUS_MM
from lessonkit.notes.sentences import understand
from lessonkit.notes.words import Phrase

_LINE = re.compile(r"^\s*([A-Za-z][A-Za-z _-]{1,20}?)\s*[:=]\s*(.*)$")
_PAIR = re.compile(r"[\[(]?\s*(-?\d+(?:\.\d+)?)\s*(?:mm)?\s*[,;\s]\s*(-?\d+(?:\.\d+)?)\s*(?:mm)?\s*[\])]?")
_YES = {"yes", "true", "on", "1", ""}
_NO = {"no", "false", "off", "0"}


class FieldError(ValueError):
    """The value of an explicit line cannot be read; the message says what it should look like."""


def split(line: str) -> tuple[str, str] | None:
    """(key, value) of an explicit line, None when the line is prose."""
    if line.strip().lower() in ("replay", "in hand", "ball in hand"):
        return ("replay" if "replay" in line.lower() else "in hand"), "yes"
    m = _LINE.match(line)
    key = re.sub(r"[\s_-]+", " ", m[1]).lower() if m else ""
    key = _SAME.get(key, key)
    if m is None or key not in _READERS:
        return None
    value = m[2].strip()
    # "Plan B: the six in the side", "Kick: off the head rail ...": a sentence that happens to have a colon
    if re.search(r"[.;!?]\s+\w", value) or (key not in _LONG and len(value.split()) > 4):
        return None
    if key == "plan b" and value.lower() not in _YES | _NO:
        return None
    return key, value


def apply(intent: Intent, key: str, value: str, table: Table) -> Intent:
    """The intent with one explicit line in it.

    Raises FieldError when the value cannot be read.
    """
    changes = _READERS[key](value.strip(), table)
    kept = tuple(f for f in intent.by_custom if f not in changes)
    if "side" in changes:
        changes = {"side_relative": None, "side_tips": intent.side_tips} | changes
    new = replace(intent, **changes, by_custom=kept)
    if new.stroke and new.side is None and new.side_relative is None:
        new = replace(new, side="none", side_tips=0.0, by_custom=(*new.by_custom, "side"))
    if new.waypoints and "rails" in new.by_custom:  # the drawn way tells the cushions, custom does not
        new = replace(new, rails=None, by_custom=tuple(f for f in new.by_custom if f != "rails"))
    return new


def _point(value: str, table: Table) -> Point:
    m = _PAIR.fullmatch(value.strip())
    if not m:
        raise FieldError("should be two figures in millimetres, such as 1852, 498")
    return _on_table((float(m[1]), float(m[2])), table)


def _on_table(p: Point, table: Table) -> Point:
    if not (0 <= p[0] <= table.length_mm and 0 <= p[1] <= table.width_mm):
        raise FieldError(
            f"lies off the table, which runs from 0 to {table.length_mm:.0f} along and 0 to {table.width_mm:.0f} mm across"
        )
    return p


def _landing(value: str, table: Table) -> dict[str, Any]:
    diamonds = re.fullmatch(r"diamonds?\s+(\d+(?:\.\d+)?)[\s,]+(\d+(?:\.\d+)?)", value, flags=re.IGNORECASE)
    if diamonds:
        p = (float(diamonds[1]) * table.length_mm / 8, float(diamonds[2]) * table.width_mm / 4)
        return {"landing": Landing(_on_table(p, table), value, True, FIGURES_RADIUS_MM)}
    if re.match(r"[\[(]?\s*-?\d", value) and not re.search(r"[a-z]{3}", value):
        return {"landing": Landing(_point(value, table), value, True, FIGURES_RADIUS_MM)}
    if not value:
        raise FieldError("should name a place, such as 1852, 498 or near the foot rail")
    return {"landing": places.named(value, table)}


def _waypoints(value: str, table: Table) -> dict[str, Any]:
    rest = _PAIR.sub("", value)
    if re.search(r"[^\s,;>()-]", rest) or not _PAIR.search(value):
        raise FieldError("should be places in millimetres, such as (1200, 300) (900, 1100)")
    return {"waypoints": tuple(_on_table((float(m[1]), float(m[2])), table) for m in _PAIR.finditer(value))}


def _ball(field: str) -> Callable[[str, Table], dict[str, Any]]:
    def read(value: str, table: Table) -> dict[str, Any]:
        found = _balls(value)
        if len(found) != 1:
            raise FieldError("should be one ball, 1 to 15")
        return {field: found[0]}

    return read


def _balls(value: str) -> list[int]:
    phrase = Phrase.of(re.sub(r"\bone\b", "1", value, flags=re.IGNORECASE))
    numbers.rewrite(phrase)
    balls.rewrite(phrase)
    return [int(m[1]) for m in phrase.find(r"ball_(\d+)")]


def _leave(value: str, table: Table) -> dict[str, Any]:
    found = _balls(value)
    if not found:
        raise FieldError("should be balls, such as 5, 12")
    return {"leave_alone": tuple(found)}


def _via(value: str, table: Table) -> dict[str, Any]:
    return {"via": _leave(value, table)["leave_alone"]}


def _pocket(value: str, table: Table) -> dict[str, Any]:
    phrase = Phrase.of(value + " pocket")
    pockets.rewrite(phrase)
    found = phrase.find(r"pocket_((?:head|side|foot)-(?:left|right))")
    if not found:
        raise FieldError(f"should be one of {', '.join(table.pockets)}")
    return {"pocket": found[0][1]}


def _cushions(field: str) -> Callable[[str, Table], dict[str, Any]]:
    def read(value: str, table: Table) -> dict[str, Any]:
        phrase = Phrase.of(value)
        cushions.rewrite(phrase)
        found = [m[1] for m in phrase.find(r"(?:rail_)?(head|foot|left|right)")]
        if not found:
            raise FieldError("should be cushions: head, foot, left, right")
        return {field: tuple(cast(Cushion, c) for c in found)}

    return read


def _word(field: str, allowed: tuple[str, ...], hint: str) -> Callable[[str, Table], dict[str, Any]]:
    def read(value: str, table: Table) -> dict[str, Any]:
        plain = value.lower().strip(" .")
        got = plain if plain in allowed else getattr(understand(hint.format(value), table), field)
        if got is None:
            raise FieldError(f"should be one of {', '.join(allowed)}")
        return {field: got}

    return read


def _side(value: str, table: Table) -> dict[str, Any]:
    if value.lower().strip(" .") in ("none", "no", "centre", "center", "0"):
        return {"side": "none", "side_tips": 0.0}
    intent = understand(f"with {value}", table)
    if intent.side is None and intent.side_relative is None:
        intent = understand(f"with {value} english", table)
    if intent.side is None and intent.side_relative is None:
        raise FieldError(
            f"should be one of {', '.join(get_args(Side))}, with tips if you like (left, half a tip)"
        )
    return {"side": intent.side, "side_relative": intent.side_relative} | (
        {"side_tips": intent.side_tips} if intent.side_tips is not None else {}
    )


def _tips(value: str, table: Table) -> dict[str, Any]:
    if not re.fullmatch(r"\d(\.\d+)?", value):
        raise FieldError("should be a number of tips, such as 0.5")
    return {"side_tips": float(value)}


def _rails(value: str, table: Table) -> dict[str, Any]:
    phrase = Phrase.of(value)
    numbers.rewrite(phrase)
    found = re.search(r"(?<!\S)(\d|one|no|none|zero)(?!\S)", phrase.line)
    if not found:
        raise FieldError("should be a number of cushions, 0 to 9")
    return {
        "rails": {"one": 1, "no": 0, "none": 0, "zero": 0}.get(found[1])
        if found[1].isalpha()
        else int(found[1])
    }


def _flag(field: str) -> Callable[[str, Table], dict[str, Any]]:
    def read(value: str, table: Table) -> dict[str, Any]:
        if value.lower() not in _YES | _NO:
            raise FieldError("should be yes or no")
        return {field: value.lower() in _YES}

    return read


_READERS: dict[str, Callable[[str, Table], dict[str, Any]]] = {
    "ball": _ball("ball"), "next": _ball("next_ball"), "break ball": _ball("break_ball"), "key ball": _ball("key_ball"),
    "insurance": _ball("insurance_ball"), "leave alone": _leave, "first ball": _via, "into rack": _flag("into_rack"), "pocket": _pocket, "landing": _landing,
    "waypoints": _waypoints, "stroke": _word("stroke", get_args(Stroke), "{}."), "speed": _word("speed", get_args(Speed), "{}."),
    "side": _side, "tips": _tips, "rails": _rails, "bank": _cushions("bank"), "rail first": _cushions("rail_first"),
    "replay": _flag("replay"), "plan b": _flag("plan_b"), "in hand": _flag("in_hand"),
}  # fmt: skip
_SAME = {
    "next ball": "next", "english": "side", "cushions": "rails", "insurance ball": "insurance", "leave": "leave alone",
    "waypoint": "waypoints", "cue path": "waypoints", "path": "waypoints", "land": "landing", "side tips": "tips",
    "kick": "rail first", "ball in hand": "in hand", "called ball": "ball",
}  # fmt: skip
_LONG = ("landing", "waypoints", "pocket", "side", "leave alone")
"""Keys whose value may be of many words."""
KEYS = tuple(_READERS)
"""Every key an explicit line may have."""

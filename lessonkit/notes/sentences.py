"""The meaning of a note's prose: plain sentences -> Intent.

The steps run from words that can mean one thing only (coordinates, pockets) to words that depend on what the others
were (balls by number, "stop"). See words.py for how a step leaves tags to the next.
"""

from __future__ import annotations

from dataclasses import replace
from typing import cast

from lessonkit.model import Intent, Landing, Pocket, Side, SideRelative, Speed, Stroke, Table
from lessonkit.notes import (
    aims,
    balls,
    clauses,
    cushions,
    heard,
    landing,
    numbers,
    places,
    pockets,
    remarks,
    roles,
    routes,
    side,
    speed,
    strokes,
)
from lessonkit.notes.words import Phrase


def understand(text: str, table: Table) -> Intent:
    """What the sentences say the player meant to do; None where they do not say.

    Two things go by custom where the words are silent, and are then named in `by_custom`: a stroke named without side
    is played without side, and a cue ball sent to a named place without a word of a cushion goes there without one
    (a stop needs none).
    """
    main, _, plan_b = clauses.split_fallback(text)
    phrase = tagged(remarks.without(main), table)
    pocket = _pocket(phrase)
    ways = routes.read(phrase, pocket)
    stroke = _stroke(phrase)
    which, tips, relative = _side(phrase)
    where = landing.read(phrase, table)
    pair = aims.combination(phrase)
    who = roles.read(phrase)
    if who.called is None and (pocket is not None or stroke is not None):
        who = replace(who, called=roles.missed(remarks.only(main), who.next_ball))
    custom: list[str] = []
    if which is None and relative is None and stroke is not None and not phrase.has("side_open"):
        which, tips = "none", 0.0
        custom.append("side")
    rails = ways.rails
    if rails is None and not ways.open_count and (where is not None or stroke == "stop"):
        rails = 0
        custom.append("rails")
    return Intent(
        ball=pair.called if pair else who.called, via=pair.via if pair else (), fullness=aims.fullness(phrase),
        shade=aims.shade(phrase) if stroke == "stun" else None, into_rack=aims.into_rack(phrase), pocket=pocket, stroke=stroke, side=which, side_tips=tips, side_relative=relative,
        speed=_speed(phrase), rails=rails, landing=where, next_ball=who.next_ball, break_ball=who.break_ball,
        key_ball=who.key_ball, insurance_ball=who.insurance_ball, leave_alone=who.leave_alone, plan_b=plan_b,
        bank=ways.bank, rail_first=ways.rail_first,
        in_hand=phrase.has(r"(?:ball |cue |cue_ball )?in hand"),
        replay=phrase.has(r"replay|(?:show|watch|see) (?:it |that |this )?again|slow motion|in slow mo|once more"),
        by_custom=tuple(custom),
    )  # fmt: skip


def tagged(text: str, table: Table) -> Phrase:
    """The phrase with every understood run of words as a tag."""
    phrase = Phrase.of(text)
    heard.rewrite(phrase)
    clauses.past(phrase)
    aims.rewrite(phrase)
    numbers.rewrite(phrase)
    pockets.rewrite(phrase)
    cushions.rewrite(phrase)
    side.rewrite(phrase)
    balls.rewrite(phrase)
    routes.rewrite(phrase)
    strokes.rewrite_back(phrase)
    places.rewrite(phrase, table)
    strokes.rewrite_force(phrase)
    speed.rewrite(phrase)
    strokes.rewrite(phrase)
    strokes.deny(phrase)
    clauses.correct(phrase)
    clauses.considered(phrase)
    return phrase


def _pocket(phrase: Phrase) -> Pocket | None:
    """The first pocket that the words single out; one named for a landing has become a place before."""
    found = phrase.find(r"pocket_((?:head|side|foot)-(?:left|right))")
    return cast(Pocket, found[0][1]) if found else None


def _stroke(phrase: Phrase) -> Stroke | None:
    found = [m[1].replace("-", " ") for m in phrase.find(r"stroke_(\S+)")]
    # "follow ... and stop by the rail": a stop that stands beside another stroke tells of the landing
    moving = [s for s in found if s != "stop"]
    if moving:
        return cast(Stroke, "force follow" if "force follow" in moving else moving[0])
    if found or phrase.has("weak_stop"):
        return "stop"
    return "draw" if phrase.has("weak_draw") and not phrase.has(r"rails_[1-9]|rail_\S+") else None


def _speed(phrase: Phrase) -> Speed | None:
    found = phrase.find(r"speed_(\S+)")
    if not found:
        return None
    # "medium firm", "medium soft": the second word is the nearer one
    first = found[0]
    if len(found) > 1 and phrase.line[first.end() : found[1].start()].strip() == "":
        return cast(Speed, found[1][1])
    return cast(Speed, first[1])


def _side(phrase: Phrase) -> tuple[Side | None, float | None, SideRelative | None]:
    words = [m[1] for m in phrase.find(r"side_(left|right|none)")]
    relative = [cast(SideRelative, m[1]) for m in phrase.find(r"rel_(inside|outside|running|reverse)")]
    tips = [float(m[1]) for m in phrase.find(r"tips_([\d.]+)")]
    way = next((w for w in words if w != "none"), words[0] if words else None)
    if way == "none" and not relative:
        return "none", 0.0, None
    if way in ("left", "right"):
        return cast(Side, way), _side_tips(phrase, tips), None
    if relative:
        return None, _side_tips(phrase, tips), relative[0]
    return None, None, None


def _side_tips(phrase: Phrase, tips: list[float]) -> float | None:
    """Tips of side: those next to the side's word, else those that do not belong to the height."""
    near = phrase.find(r"tips_([\d.]+) (?:of |to the )?(?:side|rel)_\S+") or phrase.find(
        r"(?:side|rel)_\S+ (?:, |by |about |-- |a )*tips_([\d.]+)"
    )
    if near:
        return float(near[0][1])
    vertical = {m.start() for m in phrase.find(r"tips_\S+ (?:of |up|down)?(?:stroke_\S+)")}
    free = [float(m[1]) for m in phrase.find(r"tips_([\d.]+)") if m.start() not in vertical]
    return free[0] if free else None


__all__ = ["Landing", "tagged", "understand"]

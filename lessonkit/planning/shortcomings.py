"""What a plan's nearest stroke does not do, in plain words, and what would do it."""

from __future__ import annotations

from dataclasses import replace

from lessonkit.model import CUE_BALL, Intent, Stroke
from lessonkit.planning.aim import Task
from lessonkit.planning.geometry import blocked_mm, cut_deg
from lessonkit.planning.search import Found, Wish, goes_into_rack, make_wish, rack_of, search
from lessonkit.planning.words import speed_word

CANNOT_LAND = 1.5
"""A landing farther off than this many widths of the stated place is reported."""
WIDEST_CUT_DEG = 88.0
"""Beyond this no way straight to the ghost ball cuts the ball enough; throw and swerve left aside."""
FULLNESS_OFF = 0.17
"""A fullness farther from the one said is reported: half the step from half a ball to a full one, and a third of it."""
EXPLICIT_MM = 60.0
"""How wide a place given in figures is for this."""
KINDS: tuple[Stroke, ...] = ("stun", "follow", "draw")


def shortcomings(wish: Wish, found: Found, fullness: float | None) -> str | None:
    """What the nearest stroke does not do; None if it does all that the note says."""
    task, intent = wish.task, wish.intent
    if not found.potted or _wrong_first(task, found):
        why = _why_not(task)
        text = f"No {kind_words(intent)} was found that pots the {task.ball}{why}."
        other = None if why else _instead(wish)
        return f"{text} {other}" if other else text
    said: list[str] = []
    if CUE_BALL in found.run.dropped:
        said.append("the cue ball drops")
    if rails_said(intent) and found.rails != intent.rails:
        said.append(f"the nearest stroke takes {found.rails} {'rail' if found.rails == 1 else 'rails'}")
    if misses_place(intent, found):
        said.append(f"the nearest stroke leaves the cue ball {found.landing_mm:.0f} mm from the stated place")
    other = _instead(wish) if said else None
    if goes_into_rack(intent, task.ball) and not _opens(task, found):
        said.append("the cue ball does not reach the balls that it is to open")
    wanted = intent.fullness
    if wanted is not None and fullness is not None and abs(fullness - wanted) > FULLNESS_OFF:
        said.append(f"potting it takes {fullness:.2f} of a ball, the note says {wanted:.2f}")
    if not said:
        return None
    text = "; ".join(said)
    text = text[0].upper() + text[1:] + "."
    return f"{text} {other}" if other else text


def rails_said(intent: Intent) -> bool:
    """Whether the note itself gives the number of rails."""
    return intent.rails is not None and "rails" not in intent.by_custom


def misses_place(intent: Intent, found: Found) -> bool:
    """Whether the cue ball comes to rest clearly off the stated place."""
    place = intent.landing
    if found.landing_mm is None or place is None:
        return False
    return found.landing_mm > CANNOT_LAND * (EXPLICIT_MM if place.explicit else place.radius_mm)


def kind_words(intent: Intent) -> str:
    """The stroke that the note names, as one says it: 'soft draw', 'stroke of the stated kind'."""
    words = [w for w in (intent.speed, intent.stroke) if w is not None]
    if intent.stroke is None:
        return " ".join([*words, "stroke"]) if words else "stroke"
    return " ".join(words)


def _wrong_first(task: Task, found: Found) -> bool:
    """Whether the cue ball meets another ball before the one that it is sent to."""
    first = next((h for h in found.run.hits if h.kind == "ball" and CUE_BALL in h.balls), None)
    return first is not None and task.struck not in first.balls


def _why_not(task: Task) -> str:
    """A plain reason why the called ball cannot be potted so, if the layout shows one."""
    D, cue = task.table.ball_diameter_mm, task.layout[CUE_BALL]
    struck = task.layout[task.struck]
    out = (CUE_BALL, task.ball, *task.via)
    direct = not task.bank and not task.via
    if direct and blocked_mm(task.layout[task.ball], task.target, task.layout, out, D) > 0.0:
        return ": another ball stands in its way"
    if task.rail_first:
        return ""
    cut = abs(cut_deg(cue, struck, task.struck_target, D))
    if cut > WIDEST_CUT_DEG:
        return f": it would have to be cut by {cut:.0f} degrees"
    if blocked_mm(cue, task.ghost, task.layout, out, D) > 0.0:
        return ": another ball stands in the cue ball's way"
    return ""


def _opens(task: Task, found: Found) -> bool:
    rack = rack_of(task)
    return not rack or not rack.isdisjoint(found.run.pieces)


def _instead(wish: Wish) -> str | None:
    """Which other speed, else which other height of the tip, would do all that the note says; None if neither does."""
    intent = wish.intent
    free: list[Intent] = [] if intent.speed is None else [replace(intent, speed=None)]
    if intent.stroke is not None:
        free += [replace(intent, speed=None, stroke=k, shade=None) for k in KINDS if k != intent.stroke]
    for other in free:
        found = search(make_wish(wish.task, other, wish.pocket), refined=False)
        if found is None or not found.potted or _wrong_first(wish.task, found):
            continue
        if CUE_BALL in found.run.dropped or misses_place(other, found):
            continue
        if rails_said(other) and found.rails != other.rails:
            continue
        return f"A {speed_word(found.stroke.speed_mps)} {other.stroke or 'stroke'} would."
    return None

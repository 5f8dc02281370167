"""What was understood of each note, in lines that a person can check."""

from __future__ import annotations

from lessonkit.model import Intent, Notes
from lessonkit.notes.times import format_time


def describe(notes: Notes) -> str:
    """A print-out: the head, then each note's time, words and meaning; fields that were not said are left out."""
    h = notes.head
    out = [f"{k}: {v}" for k in ("title", "series", "number", "table", "player") if (v := getattr(h, k))]
    for n in notes.notes:
        time = "(no time)" if n.t_s is None else format_time(n.t_s)
        out += ["", f"{time}  {n.text}" if n.text else time]
        out += [f"    {name}: {said}" for name, said in meaning(n.intent)] or [
            "    nothing that plans a shot"
        ]
    return "\n".join(out).lstrip("\n") + "\n"


def meaning(i: Intent) -> list[tuple[str, str]]:
    """(name, value) of everything that an intent says; what only custom says is marked so."""
    tips = f", {i.side_tips:g} tip{'s' if i.side_tips > 1 else ''}" if i.side_tips else ""
    rows: list[tuple[str, object]] = [
        ("plan B", "yes" if i.plan_b else None), ("ball", i.ball), ("by way of", ", ".join(map(str, i.via))),
        ("how full", f"{i.fullness:.2f} of the ball" if i.fullness is not None else None),
        ("into the rack", "yes" if i.into_rack else None), ("pocket", i.pocket),
        ("bank off", ", ".join(i.bank)), ("rail first", ", ".join(i.rail_first)), ("stroke", i.stroke and i.stroke + (f", {i.shade}" if i.shade else "")),
        ("side", _custom(i, "side", i.side and i.side + tips)), ("side, from the layout", i.side_relative and i.side_relative + tips),
        ("speed", i.speed), ("rails", _custom(i, "rails", i.rails)), ("landing", _landing(i)),
        ("drawn way", " ".join(f"({x:.0f}, {y:.0f})" for x, y in i.waypoints)), ("next ball", i.next_ball),
        ("break ball", i.break_ball), ("key ball", i.key_ball), ("insurance ball", i.insurance_ball),
        ("left alone", ", ".join(map(str, i.leave_alone))), ("cue ball in hand", "yes" if i.in_hand else None),
        ("replay", "yes" if i.replay else None),
    ]  # fmt: skip
    return [(name, str(v)) for name, v in rows if v is not None and v != ""]


def _custom(i: Intent, name: str, value: object) -> object:
    return f"{value} (not said, taken by custom)" if name in i.by_custom else value


def _landing(i: Intent) -> str | None:
    if i.landing is None:
        return None
    if i.landing.point is None:
        return f"{i.landing.words} (cannot be put on the table)"
    x, y = i.landing.point
    return f"{i.landing.words}: {x:.0f}, {y:.0f} mm, within {i.landing.radius_mm:.0f} mm"

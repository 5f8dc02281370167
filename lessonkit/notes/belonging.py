"""Which note belongs to which shot: the one it overlaps, else the next one to come, unless its own was plainly not seen.

A shot that was not seen would leave its note to the next one. That it is not that one's can be known by two signs, for plain
notes that call a ball: the ball lay there after the last shot and is gone before this one; or the note stands much further from
its shot than notes of this page do, while a nearer one calls another ball for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from lessonkit.model import Intent, Layout, Note, SeenShot, Table
from lessonkit.notes.clauses import split_fallback
from lessonkit.notes.reading import NINE_FOOT, with_text


def _shot_of(note: Note, shots: Sequence[SeenShot]) -> int | None:
    """Index of the shot that a note belongs to; None after the last shot, or for a note without a time."""
    if note.t_s is None:
        return None
    start, end = note.t_s, max(note.t_s, note.end_s or note.t_s)
    shares = [min(end, s.rest_s) - max(start, s.strike_s) for s in shots]
    best = max(range(len(shots)), key=lambda i: (shares[i], i), default=None)
    if best is not None and shares[best] >= 0:
        return best
    return next((i for i, s in enumerate(shots) if s.strike_s >= start), None)


FAR, FAR_S = 1.5, 3.0
"""A note is far from its shot if its lead is so many times, and so much, longer than any of a shot's only plan on this page;"""
FAR_ALONE, FAR_ALONE_S = 3.0, 8.0
"""where fewer than two shots tell how this page is timed, than that of the nearest note for the same shot. All our choice."""
AFTER_S = 5.0
"""A far note so soon after a shot without a plan of its own was made of that shot. Our choice."""


def _placed(notes: Sequence[Note], shots: Sequence[SeenShot]) -> list[int | None]:
    """Index of the shot that each note belongs to; None: none that was seen."""
    found = [_shot_of(n, shots) for n in notes]
    of_shot: dict[int, list[int]] = {}
    for k, (n, i) in enumerate(zip(notes, found, strict=True)):
        if i is not None and carries_plan(n.intent):
            of_shot.setdefault(i, []).append(k)
    alone = [_lead_s(notes[ks[0]], shots[i]) for i, ks in of_shot.items() if len(ks) == 1]
    usual_s = FAR * max(alone) + FAR_S if len(alone) > 1 else None
    for i, ks in of_shot.items():
        mine = [k for k in ks if not notes[k].intent.plan_b]
        for k in mine:
            n, later = notes[k], [notes[m] for m in mine if m > k]
            lead_s = _lead_s(n, shots[i])
            if n.end_s is not None or n.intent.ball is None or lead_s <= 0.0:
                continue
            nearest = min((_lead_s(m, shots[i]) for m in later), default=lead_s)
            far_s = usual_s if usual_s is not None else FAR_ALONE * nearest + FAR_ALONE_S
            other = any(m.intent.ball not in (None, n.intent.ball) for m in later)
            gone = (
                i > 0
                and n.intent.ball in shots[i - 1].layout_after
                and not _can_be(n, shots[i].layout_before)
            )
            if (lead_s > far_s and other) or (gone and (later or (usual_s is not None and lead_s > usual_s))):
                found[k] = i - 1 if i > 0 and i - 1 not in of_shot and _just_played(n, shots[i - 1]) else None
    return found


def _just_played(note: Note, shot: SeenShot) -> bool:
    """Whether a note can have been made of a shot right after it."""
    return (note.t_s or 0.0) - shot.rest_s <= AFTER_S and _can_be(note, shot.layout_before)


def _lead_s(note: Note, shot: SeenShot) -> float:
    """How long before its shot a note stands; 0: within it."""
    return max(0.0, shot.strike_s - (note.t_s if note.t_s is not None else shot.strike_s))


def left_over(notes: Sequence[Note], shots: Sequence[SeenShot]) -> tuple[Note, ...]:
    """The notes that belong to no shot that was seen: those after the last one came to rest, those without a time, and those
    whose own shot was plainly not seen."""
    return tuple(n for n, i in zip(notes, _placed(notes, shots), strict=True) if i is None)


def assign(
    notes: Sequence[Note], shots: Sequence[SeenShot], *, table: Table = NINE_FOOT
) -> list[tuple[Note, ...]]:
    """For each shot its notes, in order of time.

    Cues of a transcript that follow each other within one shot are joined and understood as one note, for a sentence
    may run over several cues. A note that holds a plan and its fallback comes out as two, the second marked plan B.
    """
    of_shot: list[list[Note]] = [[] for _ in shots]
    for n, i in zip(notes, _placed(notes, shots), strict=True):
        if i is not None:
            of_shot[i].append(n)
    return [tuple(p for n in _joined(ns, table) for p in _parts(n, table)) for ns in of_shot]


def _joined(notes: Sequence[Note], table: Table) -> list[Note]:
    out: list[Note] = []
    for n in notes:
        if out and out[-1].end_s is not None and n.end_s is not None:
            out[-1] = replace(out[-1], text=f"{out[-1].text} {n.text}", end_s=max(out[-1].end_s, n.end_s))
        else:
            out.append(n)
    return [n if n in notes else with_text(n, n.text, table) for n in out]


def _parts(note: Note, table: Table) -> list[Note]:
    main, fallback, _ = split_fallback(note.text)
    if fallback is None:
        return [note]
    # the intent was understood of the main part alone, and holds the explicit lines besides
    return [replace(note, text=main), with_text(note, fallback, table, plan_b=True)]


def carries_plan(intent: Intent) -> bool:
    """Whether an intent says something that can be drawn or compared."""
    return any(
        (
            intent.ball,
            intent.pocket,
            intent.stroke,
            intent.landing,
            intent.waypoints,
            intent.bank,
            intent.rail_first,
        )
    )


def _can_be(note: Note, layout: Layout) -> bool:
    return note.intent.ball is None or note.intent.ball in layout


def strays(notes_of_shot: Sequence[Note], layout: Layout) -> tuple[Note, ...]:
    """The notes of a shot that mean to play a ball that did not lie on the table before it."""
    return tuple(n for n in notes_of_shot if carries_plan(n.intent) and not _can_be(n, layout))


def primary(
    notes_of_shot: Sequence[Note], layout: Layout | None = None
) -> tuple[Note | None, Note | None, tuple[Note, ...]]:
    """(the note that is the plan, the note that is its fallback, all others) of one shot.

    The first note that carries a plan is the plan, one not marked plan B before one that is; a later one marked plan B is the
    fallback. A note marked plan B that stands alone is the plan: the player fell back on it. With the `layout` before the
    shot, a note for a ball that does not lie there gives way to one for a ball that does.
    """
    plans = [n for n in notes_of_shot if carries_plan(n.intent)]
    if layout is not None and any(_can_be(n, layout) for n in plans):
        plans = [n for n in plans if _can_be(n, layout)]
    plan = next((n for n in plans if not n.intent.plan_b), plans[0] if plans else None)
    fallback = next((n for n in plans if n is not plan and n.intent.plan_b), None)
    return plan, fallback, tuple(n for n in notes_of_shot if n is not plan and n is not fallback)

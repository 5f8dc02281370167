"""What a note says of the table beside the shot itself: roles of balls, clusters, and lanes that a ball blocks."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lessonkit.model import CUE_BALL, Intent, Layout, Pocket, Point, Shot, Table
from lessonkit.notes.sentences import tagged

CLUSTER_GAP_MM = 25.0
"""Balls with less air between them lie together (our own choice: under half a ball, none can be played past another)."""
_CLUSTER = r"(?:cluster\S*|pack|tied up|stuck together|bunch\S*|group|knot|problem balls?)"
_BLOCKS = r"(?:blocks?|blocked(?: by)?|blocking|in the way(?: of)?|covers|covered by|hides|hidden by|hidden behind|shuts off)"
_PASSIVE = ("blocked by", "covered by", "hidden by", "hidden behind")


@dataclass(frozen=True)
class Lane:
    """A ball's way to a pocket, or the cue ball's to it, that another ball blocks."""

    start: Point
    end: Point
    at: Point
    """Where the blocking ball lies."""
    pocket: Pocket | None


@dataclass(frozen=True)
class Situation:
    """All of it that is named and lies on the table."""

    roles: tuple[tuple[int, str], ...] = ()
    """Ball and what it is, in the order of telling."""
    clusters: tuple[tuple[int, ...], ...] = ()
    """Balls that lie together."""
    lanes: tuple[Lane, ...] = ()


def situation(shot: Shot, table: Table) -> Situation:
    """What the notes of this shot name; nothing is shown that no note names."""
    notes = [n for n in (shot.note, *shot.more_notes) if n is not None]
    if not notes:
        return Situation()
    layout = shot.seen.layout_before
    called = shot.plan.ball if shot.plan is not None else None
    roles: dict[int, str] = {}
    clusters: dict[tuple[int, ...], None] = {}
    lanes: list[Lane] = []
    for note in notes:
        for ball, role in _roles(note.intent):
            if ball in layout and ball not in (CUE_BALL, called):
                roles.setdefault(ball, role)
        phrase = tagged(note.text, table)
        if note.intent.into_rack or phrase.has(_CLUSTER):
            named = {int(m[1]) for m in phrase.find(r"ball_(\d+)")}
            for group in _said_clusters(layout, table, named):
                clusters[group] = None
        for match in phrase.find(
            rf"ball_(\d+)[^.;]*? ({_BLOCKS})(?= )[^.;]*? ball_(\d+)(?:[^.;]*? pocket_([\w-]+))?"
        ):
            one, other, passive = int(match[1]), int(match[3]), match[2] in _PASSIVE
            blocker, blocked = (other, one) if passive else (one, other)
            lane = blocked_lane(layout, table, blocker, blocked, match[4])
            if lane is not None:
                lanes.append(lane)
    return Situation(tuple(roles.items()), tuple(clusters), tuple(lanes))


def _roles(intent: Intent) -> list[tuple[int | None, str]]:
    return [
        (intent.break_ball, "break ball"),
        (intent.key_ball, "key ball"),
        (intent.insurance_ball, "insurance"),
        *((ball, "leave alone") for ball in intent.leave_alone),
    ]


def _said_clusters(layout: Layout, table: Table, named: set[int]) -> list[tuple[int, ...]]:
    """The clusters that hold a ball that is named; none being so, the largest."""
    found = clusters_of(layout, table)
    meant = [c for c in found if named & set(c)]
    return meant or found[:1]


def clusters_of(layout: Layout, table: Table) -> list[tuple[int, ...]]:
    """Groups of object balls that lie together, each ascending, the largest group first."""
    reach = table.ball_diameter_mm + CLUSTER_GAP_MM
    left = sorted(b for b in layout if b != CUE_BALL)
    groups: list[tuple[int, ...]] = []
    while left:
        group, edge = [left.pop(0)], 0
        while edge < len(group):
            near = [b for b in left if math.dist(layout[b], layout[group[edge]]) < reach]
            left = [b for b in left if b not in near]
            group += near
            edge += 1
        if len(group) > 1:
            groups.append(tuple(sorted(group)))
    return sorted(groups, key=lambda g: (-len(g), g))


def blocked_lane(layout: Layout, table: Table, blocker: int, blocked: int, pocket: str | None) -> Lane | None:
    """The lane of `blocked` in which `blocker` lies: to the named pocket, else to the pocket (or from the cue ball)
    whose lane it stands in most; None where it stands in none.

    A lane is as wide as two balls: a ball whose centre is nearer than a diameter to the line is met on the way.
    """
    if blocker not in layout or blocked not in layout:
        return None
    at, start = layout[blocker], layout[blocked]
    ends: list[tuple[Point, Pocket | None]] = [
        (place, name) for name, place in table.pockets.items() if pocket is None or pocket == name
    ]
    if pocket is None and CUE_BALL in layout and CUE_BALL not in (blocker, blocked):
        ends.append((layout[CUE_BALL], None))
    lanes = [(_off(at, start, end), Lane(start, end, at, name)) for end, name in ends]
    off, lane = min(lanes, key=lambda pair: pair[0], default=(math.inf, None))
    return lane if off < table.ball_diameter_mm else None


def _off(p: Point, a: Point, b: Point) -> float:
    """Distance from `p` to the line from `a` to `b`; infinite where it does not lie beside it."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    length = math.hypot(dx, dy)
    if length == 0:
        return math.inf
    along = ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length
    return abs((p[0] - a[0]) * dy - (p[1] - a[1]) * dx) / length if 0 < along < length else math.inf

"""The way of every moving ball, frame by frame at full rate, from just before a strike to rest.

Only windows about balls that move or may be hit are looked at. A ball is found as a disc; where motion blur draws the
disc out, as the patch of foreign pixels that it makes. Which find is which ball is settled for all balls of a frame
together (assignment), by place against prediction and by colour.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Layout, Pocket, Point
from lessonkit.seeing.bedview import BedView, Shown, Window
from lessonkit.seeing.blurs import blurs, pairs
from lessonkit.seeing.cloth import LINEAR, BareTable
from lessonkit.seeing.discs import find_discs
from lessonkit.seeing.drops import entered, on_table, over_hole, ran_over
from lessonkit.seeing.looks import Lighting
from lessonkit.seeing.moving import Moving, off_colour
from lessonkit.seeing.sampling import shows_both_sides

Floats = NDArray[np.float64]

MOVED_MM = 2.5
"""A ball at rest this far from its place has been moved."""
STILL_MM = 1.6
"""A ball that stays within this for STILL_S has come to rest."""
STILL_S = 0.35
CREEP_S = 0.17
"""How long a ball takes over the last STILL_MM: sqrt(2 s / a) for rolling at a = 0.1 m/s²."""
TOP_SPEED_MPS = 9.0
"""Faster than any ball but at the hardest break."""
SLACK_MM = 9.0
"""What prediction may be wrong by, whatever the speed."""
LIKELY_MM = 40.0
"""How fast a find becomes less likely the same ball with its distance from the prediction."""
TOUCHING_MM = 6.0
"""A gap up to which a hit is passed on at once to the next ball."""
MOST_REACH_MM = 700.0
LOST_S = 0.9
"""After this time without a sight a ball near a pocket counts as dropped."""
FALLEN_S = 0.08
"""A ball out of sight for so long that had been over the edge of a hole has fallen in."""
UNLIKE_ENOUGH = 0.5
"""Colours this much apart settle which ball is which, whatever the places say."""
UNLIKE_SCALE = 0.6
"""Of the difference of two colours: a white ball drawn out by its motion is darker than at rest, but the same ball."""
POCKET_REACH_MM = 130.0
BARE_FOREIGN = 0.4
"""Where a smaller share of a ball's place than this is not bare table, no ball lies there."""
LEFT_SHARE = 0.65
"""The same beside what it was when the ball was first looked at: a cue over its place hides less of the cloth."""
WHOLE = 0.95
"""A place that was covered by such a share while its ball lay there: none of the ball passes for cloth."""
STREAK_MMPS = 1500.0
"""From this speed on a ball may be drawn out to a streak."""
STREAK_QUALITY, BLUR_QUALITY = 0.6, 0.35


@dataclass(frozen=True)
class Find:
    """One thing in one frame that may be a ball."""

    place: Point
    colour: tuple[float, float, float]
    """Mean linear colour of its middle, blue-green-red."""
    quality: float
    """1 for a clean disc, less for a blur or a half hidden one."""
    clear: float
    """Share of bare table in the ring about it; small where a hand or a cue is at it."""
    streak: bool = False
    """Whether it is a ball drawn out by its motion; discs near by are its ends."""


class Tracker:
    """Follows one shot."""

    def __init__(
        self, view: BedView, bare: BareTable, layout: Layout, looks: dict[int, Floats], gain: float = 1.0
    ) -> None:
        """`layout`: where each thing rests before the shot; `looks`: its mean linear colour."""
        self._view = view
        self._bare = bare
        self._gain = gain
        self._lamp = Lighting(bare)
        self.balls = {n: Moving(n, p, looks[n]) for n, p in layout.items()}
        self._lit = {n: self._lamp.cloth_at(p) for n, p in layout.items()}
        self._left: dict[int, bool] = {}
        self._filled: dict[int, float] = {}
        """What share of each ball's place was not bare table when it was first looked at there."""
        self._earlier: list[Point] = []
        """Places of all finds of the picture before."""
        self._first = -1
        self._last_s: float | None = None
        self._dt = 1 / 30

    def see_by(self, bare: BareTable, gain: float) -> None:
        """The next frames show this bare table, by its camera, in light that is stronger by `gain`."""
        if bare is not self._bare:
            self._lamp = Lighting(bare)
        self._view, self._bare, self._gain = bare.view, bare, gain

    def follow(self, frames: Iterable[Shown], from_ball: int, over_s: float = np.inf) -> None:
        """Run through the frames of a shot that starts with `from_ball`; stops when every ball is at rest.

        After `over_s` it stops as soon as no ball is seen moving, whatever was lost from sight.
        """
        quiet_since: float | None = None
        self._first = from_ball
        for frame in frames:
            self._step(frame, from_ball)
            moving = [b for b in self.balls.values() if b.moving and b.rest_s is None and b.dropped is None]
            if frame.t_s > over_s and not any(b.rolls(frame.t_s) for b in moving):
                return
            if not self.balls[from_ball].seen or any(not b.stirred() for b in moving):
                quiet_since = None
            else:
                quiet_since = quiet_since or frame.t_s
                if frame.t_s - quiet_since > 0.5:
                    return

    # one frame

    def _step(self, frame: Shown, first: int) -> None:
        t = frame.t_s
        dt = min(0.2, t - self._last_s) if self._last_s is not None else 1 / 30
        self._last_s, self._dt = t, dt
        watched = self._watched(first, dt)
        finds = self._finds(frame, watched, dt)
        self._assign(t, dt, watched, finds)
        self._earlier = [f.place for f in finds]

    def _alive(self) -> list[Moving]:
        return [b for b in self.balls.values() if b.dropped is None]

    def _watched(self, first: int, dt: float) -> list[Moving]:
        """Balls that move, and those that a moving one may have reached, directly or through touching balls."""
        alive = self._alive()
        active = [b for b in alive if (b.moving and b.rest_s is None) or b.ball == first]
        watched = list(active)
        reach = {b.ball: self._reach(b, dt) for b in active}
        queue = list(active)
        while queue:
            a = queue.pop()
            pa = np.asarray(self._predicted(a, dt))
            for b in alive:
                if b in watched:
                    continue
                gap = float(np.hypot(*(np.asarray(self._place(b)) - pa))) - self._view.table.ball_diameter_mm
                if gap < max(TOUCHING_MM, reach.get(a.ball, 0.0)):
                    watched.append(b)
                    reach[b.ball] = TOUCHING_MM
                    queue.append(b)
        return watched

    def _place(self, b: Moving) -> Point:
        return b.last[1] if b.seen else b.start

    def _predicted(self, b: Moving, dt: float) -> Point:
        x, y = self._place(b)
        if not b.moving or b.rest_s is not None:
            return x, y
        gone = dt if b.missed_since is None or self._last_s is None else min(0.3, self._last_s - b.last[0])
        v = b.velocity()
        return x + float(v[0]) * gone, y + float(v[1]) * gone

    def _reach(self, b: Moving, dt: float) -> float:
        """How far from its prediction the ball may be, millimetres: it may have hit something on the way."""
        since = dt if b.missed_since is None or self._last_s is None else min(0.5, self._last_s - b.last[0])
        speed = b.speed()
        for o in self._alive():  # what runs beside it may hit it and give it all of its speed
            if o is not b and o.moving and o.speed() > speed:
                gap = float(np.hypot(*np.subtract(self._place(o), self._place(b))))
                if gap < self._view.table.ball_diameter_mm + 2 * o.speed() * dt:
                    speed = o.speed()
        return min(MOST_REACH_MM, SLACK_MM + 1.7 * speed * max(dt, since))

    def _reach_of(self, b: Moving, watched: list[Moving], dt: float) -> float:
        """The same, for a ball that may just have been struck as well."""
        if b.moving:
            return self._reach(b, dt)
        if b.ball == self._first:  # it may have run off behind somebody's arm some frames ago
            return min(MOST_REACH_MM, SLACK_MM + TOP_SPEED_MPS * 1000 * dt)
        fastest = max((w.speed() for w in watched), default=0.0)
        return SLACK_MM + (1.3 * fastest if fastest else TOP_SPEED_MPS * 1000) * dt

    # finding

    def _finds(self, frame: Shown, watched: list[Moving], dt: float) -> list[Find]:
        idle = [b for b in self._alive() if b not in watched]
        finds: list[Find] = []
        for b in watched:
            reach = self._reach_of(b, watched, dt)
            half = (reach + 2.2 * self._view.table.radius_mm) / self._view.mm_per_px
            window = self._view.window(self._view.to_view([self._predicted(b, dt)]), half)
            finds += self._finds_in(frame, window, idle, b)
            if not b.moving:
                self._left[b.ball] = self._has_left(frame, b)
            elif b.missed_since is not None:  # nobody stands before the place where it was last seen
                self._left[b.ball] = self._covered(frame, b).mean() < BARE_FOREIGN
        kept: list[Find] = []
        for f in sorted(finds, key=lambda f: (not f.streak, -f.quality)):
            if all(np.hypot(f.place[0] - k.place[0], f.place[1] - k.place[1]) > 0.8 * self._view.table.ball_diameter_mm for k in kept):  # fmt: skip
                kept.append(f)
        return kept

    def _covered(self, frame: Shown, b: Moving) -> NDArray[np.bool_]:
        """Which pixels of a square within a ball's last place are not bare table, shape (rows, columns)."""
        at = self._view.to_view([self._place(b)])[0]
        window = self._view.window(at, 0.75 * self._view.radius_px)
        return np.asarray(self._bare.foreign(frame.bed(window), window, self._gain) > 0.5)

    def _has_left(self, frame: Shown, b: Moving) -> bool:
        """Whether so much bare table shows where a ball lay that it cannot lie there."""
        covered = self._covered(frame, b)
        if not covered.size:
            return False
        share = float(covered.mean())
        was = self._filled.setdefault(b.ball, share)
        return share < max(BARE_FOREIGN, LEFT_SHARE * was) or (was > WHOLE and shows_both_sides(covered))

    def _heading(self, b: Moving) -> Floats | None:
        """The way in which a ball may be drawn out to a streak: its velocity, any (zero) when it may just have been struck;
        None where it is too slow."""
        if b.moving:
            return b.velocity() if b.speed() > STREAK_MMPS else None
        return np.zeros(2) if b.ball == self._first and not b.seen else None

    def _finds_in(self, frame: Shown, window: Window, idle: list[Moving], b: Moving) -> list[Find]:
        """What may be a ball in the window about `b`; the ends of a streak along its way are none."""
        if window.x1 - window.x0 < 5 or window.y1 - window.y0 < 5:
            return []
        seen = frame.bed(window)
        foreign = self._bare.foreign(seen, window, self._gain)
        r = self._view.radius_px
        finds = []
        free = foreign.copy()
        for b in idle:
            at = self._view.to_view([self._place(b)])[0] - (window.x0, window.y0)
            cv2.circle(free, (round(float(at[0])), round(float(at[1]))), round(1.15 * r), 0.0, -1)
        patches, labels = blurs(free, r)
        heading = self._heading(b)
        streaks = {p.label for p in patches if heading is not None and p.ran(heading)}
        streaks -= self._lain_on(labels, window)
        ends: dict[int, list[tuple[Point, float]]] = {}
        for d in find_discs(
            seen,
            foreign,
            r,
            least_votes=0.25,
            least_fill=0.45,
            slant=self._view.slant.part(window),
            contrast=self._bare.contrast,
        ):
            row, column = (
                int(np.clip(round(v), 0, n - 1)) for v, n in zip((d.y_px, d.x_px), free.shape, strict=True)
            )
            if free[row, column] == 0.0 and self._is_idle(d.x_px + window.x0, d.y_px + window.y0, idle):
                continue
            ends.setdefault(int(labels[row, column]), []).append(((d.x_px, d.y_px), d.votes))
        if self._has_neighbour(b):
            streaks -= {k for k, on in ends.items() if pairs([p for p, _ in on], r)}
        for (x, y), v in (e for k, on in ends.items() if k not in streaks for e in on):
            finds.append(self._find(seen, free, window, x, y, min(1.0, 0.4 + 0.5 * v)))
        for patch in patches:
            drawn = patch.label in streaks
            found = self._find(
                seen, free, window, patch.x_px, patch.y_px, STREAK_QUALITY if drawn else BLUR_QUALITY
            )
            finds.append(replace(found, streak=drawn))
        return [f for f in finds if on_table(f.place, self._view.table)]

    def _has_neighbour(self, b: Moving) -> bool:
        """Whether another moving ball is so near that the two may touch in this picture."""
        at = self._predicted(b, self._dt)
        reach = 2 * self._view.table.ball_diameter_mm + b.speed() * self._dt
        return any(
            np.hypot(*np.subtract(self._predicted(o, self._dt), at)) < reach
            for o in self._alive()
            if o is not b
        )

    def _lain_on(self, labels: NDArray[np.int32], window: Window) -> set[int]:
        """Labels of patches that reach over the place of a ball at rest."""
        places = [self._place(b) for b in self._alive() if not b.moving]
        if not places:
            return set()
        at = np.rint(self._view.to_view(places) - (window.x0, window.y0)).astype(int)
        return {int(labels[y, x]) for x, y in at if 0 <= y < labels.shape[0] and 0 <= x < labels.shape[1]}

    def _is_idle(self, x_px: float, y_px: float, idle: list[Moving]) -> bool:
        p = self._view.to_mm([(x_px, y_px)])[0]
        return any(
            np.hypot(*(p - np.asarray(self._place(b)))) < 0.5 * self._view.table.radius_mm for b in idle
        )

    def _find(
        self,
        seen: NDArray[np.uint8],
        free: NDArray[np.float32],
        window: Window,
        x: float,
        y: float,
        quality: float,
    ) -> Find:
        k = max(2, round(0.55 * self._view.radius_px))
        cx, cy = int(np.clip(round(x), 0, seen.shape[1] - 1)), int(np.clip(round(y), 0, seen.shape[0] - 1))
        core = LINEAR[seen[max(0, cy - k) : cy + k + 1, max(0, cx - k) : cx + k + 1]].reshape(-1, 3).mean(0)
        slant = self._view.slant.part(window)
        n = round(1.7 * self._view.radius_px * float(slant.stretch[cy, cx]))
        y0, x0 = max(0, cy - n), max(0, cx - n)
        part = free[y0 : cy + n + 1, x0 : cx + n + 1]
        at = slice(y0, y0 + part.shape[0]), slice(x0, x0 + part.shape[1])
        r = slant.radii(x, y, at, self._view.radius_px)
        ring = part[(r > 1.25) & (r < 1.6)]
        clear = float((ring < 0.5).mean()) if ring.size else 1.0
        p = self._view.to_mm([(x + window.x0, y + window.y0)])[0]
        colour = (float(core[0]), float(core[1]), float(core[2]))
        return Find((float(p[0]), float(p[1])), colour, quality, clear)

    # deciding

    def _assign(self, t: float, dt: float, watched: list[Moving], finds: list[Find]) -> None:
        from scipy.optimize import linear_sum_assignment

        cost = np.full((len(watched), len(finds) + len(watched)), 1e6)
        for i, b in enumerate(watched):
            cost[i, len(finds) + i] = 1.0  # not seen
            px, py = self._predicted(b, dt)
            reach = self._reach_of(b, watched, dt)
            for j, f in enumerate(finds):
                off = float(np.hypot(f.place[0] - px, f.place[1] - py))
                if off > reach:
                    continue
                if f.quality <= BLUR_QUALITY and b.moving and self._over(b):
                    continue  # what falls is no smear on the cloth
                if not b.moving and off > SLACK_MM and self._was_there(f):
                    continue
                unlike = self._unlike(b, f)
                far = off > 0.85 * self._view.table.ball_diameter_mm
                if (
                    far
                    and not b.moving
                    and not (self._left.get(b.ball, True) or self._ran_from_cover(b, f, unlike))
                ):
                    continue
                if unlike > 1.0 and off > SLACK_MM:
                    continue
                cost[i, j] = (
                    0.55 * (1 - np.exp(-off / LIKELY_MM))
                    + 0.5 * min(unlike, 1.2)
                    + 0.15 * (1 - f.quality)
                    - 0.2
                )
        rows, columns = linear_sum_assignment(cost)
        chosen = {
            i: finds[j] for i, j in zip(rows, columns, strict=True) if j < len(finds) and cost[i, j] < 1.0
        }
        self._uncross(watched, chosen)
        for i, b in enumerate(watched):
            if i in chosen:
                self._sighted(t, b, chosen[i])
            else:
                self._missed(t, b)

    def _was_there(self, f: Find) -> bool:
        """Whether something was found at the very place in the picture before: a hand, say, and no ball that has just come."""
        return any(math.dist(f.place, p) < MOVED_MM for p in self._earlier)

    def _ran_from_cover(self, b: Moving, f: Find, unlike: float) -> bool:
        """Whether a find can be the struck ball although a hand or a cue still hides its place: like it, and free.

        A ball drawn out by its motion fills some of the ring about it.
        """
        return b.ball == self._first and unlike < 0.35 and f.clear > 0.4 and f.quality > 0.7

    def _uncross(self, watched: list[Moving], chosen: dict[int, Find]) -> None:
        """Balls cannot pass through each other: where two that met seem to have, they were mistaken for each other.

        In a full hit the struck ball goes on exactly as the striking one would have, so place alone cannot tell.
        """
        near = 3.0 * self._view.table.ball_diameter_mm
        for i in chosen:
            for j in chosen:
                a, b = watched[i], watched[j]
                if j <= i or not (a.moving or b.moving):
                    continue
                was = np.subtract(self._place(a), self._place(b))
                now = np.subtract(chosen[i].place, chosen[j].place)
                if float(np.hypot(*was)) > near or float(np.hypot(*now)) > near or float(was @ now) >= 0:
                    continue
                as_is = self._unlike(a, chosen[i]) + self._unlike(b, chosen[j])
                crossed = self._unlike(a, chosen[j]) + self._unlike(b, chosen[i])
                if crossed - as_is < UNLIKE_ENOUGH:
                    chosen[i], chosen[j] = chosen[j], chosen[i]

    def _unlike(self, b: Moving, f: Find) -> float:
        """How unlike the find's colour is to the ball's: 0 the same, 1 as far as a rolling stripe goes."""
        # a ball that runs out of the lamp's light is darker by all that the cloth is, or by less where that only shines
        lamp = math.log(self._lit.get(b.ball, 1.0) / self._lamp.cloth_at(f.place))
        return UNLIKE_SCALE * off_colour(b.colour, f.colour, lamp)

    def _sighted(self, t: float, b: Moving, f: Find) -> None:
        b.missed_since = None
        x, y = f.place
        pocket = entered(f.place, self._view.table)
        if b.moving and pocket is not None:
            b.seen.append((t, x, y, f.quality))
            b.dropped = (t, pocket)
            return
        if not b.moving:
            off = float(np.hypot(x - b.start[0], y - b.start[1]))
            if b.seen and b.rest_s is not None:  # it had come to rest and may be hit again
                off = float(np.hypot(x - b.last[1][0], y - b.last[1][1]))
            if off < MOVED_MM * 2:
                return
            self._start(b, t)
        b.seen.append((t, x, y, f.quality))
        b.clear.append(f.clear)
        b.colours.append(f.colour)
        recent = [s for s in b.seen if t - s[0] <= STILL_S]
        if t - b.seen[b.from_sight][0] > STILL_S and len(recent) >= 3 and t - recent[0][0] > 0.7 * STILL_S:
            spread = max(np.ptp([s[1] for s in recent]), np.ptp([s[2] for s in recent]))
            if spread < STILL_MM:
                b.rest_s = recent[0][0] + CREEP_S
                b.moving = False

    def _start(self, b: Moving, t: float) -> None:
        """The ball has begun to move since the last frame."""
        self._filled.pop(b.ball, None)
        b.guess_mmps = max(w.gives_mmps() for w in self._alive()) or 1000 * TOP_SPEED_MPS
        x, y = self._place(b)
        b.seen.append((t - self._dt, x, y, 1.0))
        b.from_sight = len(b.seen) - 1
        b.moving, b.rest_s = True, None

    def _missed(self, t: float, b: Moving) -> None:
        if not b.moving:
            if self._left.get(b.ball, False):
                # its place is bare and it is not in sight: it was struck too fast or runs hidden
                self._start(b, t)
                b.missed_since = t
            return
        if b.missed_since is None:
            b.missed_since = t
        if t - b.last[0] > FALLEN_S and (hole := self._fell(t, b)):
            b.dropped = (b.last[0], hole)
        elif t - b.last[0] > LOST_S:
            pocket = self._pocket_ahead(b) if len(b.seen) > 2 or b.ball != self._first else None
            if pocket is not None:
                b.dropped = (b.last[0], pocket)
            elif t - b.last[0] > 4 * LOST_S:
                b.rest_s, b.moving = b.last[0], False

    def _over(self, b: Moving) -> Pocket | None:
        """The pocket over whose hole a moving ball was seen last."""
        return over_hole(b.track()[b.from_sight + 1 :], self._view.table)

    def _fell(self, t: float, b: Moving) -> Pocket | None:
        """The pocket into which a ball that is out of sight has fallen, beyond doubt."""
        way, hole = b.track()[b.from_sight + 1 :], self._over(b)
        if hole is None and self._left.get(b.ball, False):
            hole = ran_over(way, t, self._view.table)
        return hole

    def _pocket_ahead(self, b: Moving) -> Pocket | None:
        """The pocket that the ball was last seen at or running into."""
        _, place = b.last
        best, best_mm = None, POCKET_REACH_MM
        v = b.velocity()
        for name, p in self._view.table.pockets.items():
            to = np.asarray(p) - np.asarray(place)
            distance = float(np.hypot(*to))
            speed = float(np.hypot(*v))
            if speed > 200:
                along = float(to @ v) / speed
                across = abs(float(to[0] * v[1] - to[1] * v[0])) / speed
                if 0 < along < 0.25 * speed + 150 and across < 70:
                    distance = min(distance, across)
            if distance < best_mm:
                best, best_mm = name, distance
        return best

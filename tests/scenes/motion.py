"""How balls run: straight rolling that slows evenly, equal-mass contacts, cushions, pockets. Enough to film."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Layout, Table
from tests.scenes.bed import cushions, pits
from tests.scenes.lens import Array

DT_S = 1e-3
SLOWING = 98.0
"""mm/s², rolling friction of about 0.01 (value from memory)."""
SLIDING = 1960.0
"""mm/s², sliding friction of about 0.2 (value from memory)."""
BALL_E, CUSHION_E, CUSHION_GRIP = 0.95, 0.75, 0.93


@dataclass(frozen=True)
class Drop:
    """A ball falling into a pocket."""

    t_s: float
    pocket: str
    at: tuple[float, float]
    speed: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Motion:
    """One shot from the strike (time 0) to rest."""

    rest_s: float
    paths: dict[int, Array]
    """(N, 3) t, x, y at 1 kHz, of every ball that moved; ends at the drop for pocketed balls."""
    events: list[dict[str, Any]]
    drops: dict[int, Drop]
    before: Layout
    after: Layout
    aim_deg: float
    speed_mps: float
    tip_b: float
    first_hit: int | None
    fullness: float | None


@dataclass
class _Run:
    """The state of a simulation."""

    table: Table
    numbers: list[int]
    pos: Array
    vel: Array
    spin: Array
    """Velocity that each ball's turning will still give it, shape (K, 2): 2/7 of (turning - speed), the classical
    sliding ball whose end speed is 5/7 of its speed and 2/7 of its turning (solid sphere, textbook mechanics)."""
    alive: NDArray[np.bool_]
    t: float = 0.0
    events: list[dict[str, Any]] = field(default_factory=list)
    drops: dict[int, Drop] = field(default_factory=dict)
    first_hit: int | None = None
    fullness: float | None = None
    busy: set[tuple[int, int]] = field(default_factory=set)

    def __post_init__(self) -> None:
        r, h = self.table.radius_mm, self.table.nose_height_mm
        self.touch = float(np.sqrt(r * r - (h - r) ** 2))
        segs, names, jaws = [], [], []
        for name, q in cushions(self.table).items():
            for a, b, jaw in ((q[0], q[1], False), (q[1], q[2], True), (q[3], q[0], True)):
                segs.append((a, b))
                names.append(name.split("-")[0])
                jaws.append(jaw)
        self.seg_a = np.array([s[0] for s in segs])
        self.seg_d = np.array([s[1] - s[0] for s in segs])
        self.seg_n = (self.seg_d**2).sum(axis=1)
        self.seg_name, self.seg_jaw = names, jaws
        self.pits = pits(self.table)
        self.pit_at = np.array([p.centre for p in self.pits])
        self.pit_r = np.array([p.radius_mm for p in self.pits])
        self.pairs = np.triu_indices(len(self.numbers), 1)

    def step(self) -> None:
        """One millisecond."""
        speed = np.hypot(self.vel[:, 0], self.vel[:, 1])
        keep = np.maximum(speed - SLOWING * DT_S, 0) / np.maximum(speed, 1e-9)
        self.vel *= keep[:, None]
        s = np.hypot(self.spin[:, 0], self.spin[:, 1])
        give = self.spin * np.minimum(1.0, SLIDING * DT_S / np.maximum(s, 1e-9))[:, None]
        self.vel += give
        self.spin -= give
        self.pos += self.vel * DT_S
        self.t += DT_S
        for _ in range(20):
            if not self._contacts():
                break
        self._cushions()
        self._pockets()

    def _contacts(self) -> bool:
        i, j = self.pairs
        d = self.pos[j] - self.pos[i]
        d2 = (d * d).sum(axis=1)
        lim = self.table.ball_diameter_mm
        close = np.flatnonzero((d2 < lim * lim) & self.alive[i] & self.alive[j])
        hit = False
        for k in close:
            a, b = int(i[k]), int(j[k])
            rel = self.vel[b] - self.vel[a]
            gap = self.pos[b] - self.pos[a]
            if gap @ rel >= -1e-6:
                self._part(a, b)
                continue
            hit = True
            back = self._back(gap, rel, lim)
            self.pos[a] -= self.vel[a] * back
            self.pos[b] -= self.vel[b] * back
            self._collide(a, b, self.t - back)
            self.pos[a] += self.vel[a] * back
            self.pos[b] += self.vel[b] * back
        return hit

    def _part(self, a: int, b: int) -> None:
        """Takes the last micrometres of overlap out of two balls that already part."""
        gap = self.pos[b] - self.pos[a]
        d = float(np.hypot(*gap))
        over = self.table.ball_diameter_mm - d
        if over > 1e-6:
            self.pos[a] -= gap / d * over / 2
            self.pos[b] += gap / d * over / 2

    @staticmethod
    def _back(gap: Array, rel: Array, lim: float) -> float:
        """How long ago two balls touched, in seconds, at most a step."""
        A, B, C = float(rel @ rel), float(gap @ rel), float(gap @ gap) - lim * lim
        root = B * B - A * C
        return float(np.clip((B + np.sqrt(max(root, 0.0))) / max(A, 1e-12), 0.0, DT_S))

    def _collide(self, a: int, b: int, t: float) -> None:
        n = self.pos[b] - self.pos[a]
        n /= np.hypot(*n)
        closing = float((self.vel[a] - self.vel[b]) @ n)
        first = (a, b) if self.vel[a] @ n > -(self.vel[b] @ n) else (b, a)
        names = [self.numbers[first[0]], self.numbers[first[1]]]
        last = next((e for e in reversed(self.events) if sorted(e["balls"]) == sorted(names)), None)
        if closing > 5.0 and (last is None or t - last["t"] > 0.02):
            self.events.append({"t": t, "speed_mps": closing / 1e3, "kind": "ball", "balls": names})
        if self.numbers[a] == 0 and self.first_hit is None:
            v = self.vel[a]
            u = v / max(float(np.hypot(*v)), 1e-9)
            self.first_hit = self.numbers[b]
            self.fullness = 1.0 - abs(float(u[0] * n[1] - u[1] * n[0]))
        push = closing * (1 + BALL_E) / 2
        self.vel[a] -= push * n
        self.vel[b] += push * n
        self.spin[a] += 2 / 7 * push * n
        self.spin[b] -= 2 / 7 * push * n

    def _cushions(self) -> None:
        L, W = self.table.length_mm, self.table.width_mm
        p, m = self.pos, self.touch + 1
        near = (p[:, 0] < m) | (p[:, 1] < m) | (p[:, 0] > L - m) | (p[:, 1] > W - m)
        for k in np.flatnonzero(near & self.alive & (np.abs(self.vel).sum(axis=1) > 0)):
            for _ in range(2):
                f = np.clip(((p[k] - self.seg_a) * self.seg_d).sum(axis=1) / self.seg_n, 0, 1)
                off = p[k] - self.seg_a - self.seg_d * f[:, None]
                dist = np.hypot(off[:, 0], off[:, 1])
                s = int(dist.argmin())
                n = off[s] / max(dist[s], 1e-9)
                vn = float(self.vel[k] @ n)
                if dist[s] >= self.touch or vn >= 0:
                    break
                t = self.t - min(DT_S, float(self.touch - dist[s]) / -vn)
                if -vn > 5.0:
                    jaw = bool(self.seg_jaw[s] or f[s] in (0.0, 1.0))
                    self.events.append({
                        "t": t, "speed_mps": -vn / 1e3, "kind": "cushion", "balls": [self.numbers[k]],
                        "cushion": self.seg_name[s], "jaw": jaw,
                    })  # fmt: skip
                along = self.vel[k] - vn * n
                after = along * CUSHION_GRIP - CUSHION_E * vn * n
                # the cushion takes most of the turning too
                self.spin[k] = 0.4 * (self.spin[k] - 2 / 7 * (after - self.vel[k]))
                self.vel[k] = after
                p[k] += n * (self.touch - dist[s]) * (1 + CUSHION_E)

    def _pockets(self) -> None:
        d = np.linalg.norm(self.pos[:, None] - self.pit_at[None], axis=2)
        inside = (d < self.pit_r[None] - 1.0) & self.alive[:, None]
        for k, w in zip(*np.nonzero(inside), strict=True):
            n, name = self.numbers[k], self.pits[int(w)].name
            v = self.vel[k].copy()
            self.events.append({
                "t": self.t, "speed_mps": float(np.hypot(*v)) / 1e3, "kind": "pocket", "balls": [n], "pocket": name,
            })  # fmt: skip
            self.drops[n] = Drop(
                self.t, name, (float(self.pos[k, 0]), float(self.pos[k, 1])), (float(v[0]), float(v[1]))
            )
            self.alive[k] = False
            self.vel[k] = 0
            self.pos[k] = (-1e6 * (k + 1), -1e6)
            self.spin[k] = 0


def simulate(
    table: Table,
    layout: Layout,
    aim_deg: float,
    speed_mps: float,
    tip_b: float = 0.2,
    longest_s: float = 14.0,
) -> Motion:
    """Plays one stroke at ball 0; `tip_b` is the tip's height over the centre in ball radii: 0.4 rolls at once."""
    numbers = [0, *sorted(n for n in layout if n)]
    pos = np.array([layout[n] for n in numbers], float)
    vel = np.zeros_like(pos)
    a = np.radians(aim_deg)
    vel[0] = 1e3 * speed_mps * np.array([np.cos(a), np.sin(a)])
    spin = 2 / 7 * (2.5 * tip_b - 1) * vel
    run = _Run(table, numbers, pos, vel, spin, np.ones(len(numbers), bool))
    places, times = [pos.copy()], [0.0]
    while run.t < longest_s and (np.abs(run.vel).sum() > 0 or np.abs(run.spin).sum() > 1e-9):
        run.step()
        places.append(run.pos.copy())
        times.append(run.t)
    for _ in range(50):
        run._contacts()
    places[-1] = run.pos.copy()
    track, t = np.array(places), np.array(times)
    paths, after = {}, {}
    for k, n in enumerate(numbers):
        if n in run.drops:
            m = t < run.drops[n].t_s - 1e-9
            paths[n] = np.c_[t[m], track[m, k]]
        else:
            after[n] = (float(track[-1, k, 0]), float(track[-1, k, 1]))
            if n == 0 or np.abs(track[-1, k] - track[0, k]).max() > 0.05:
                paths[n] = np.c_[t, track[:, k]]
    run.events.sort(key=lambda e: float(e["t"]))
    return Motion(
        run.t, paths, run.events, run.drops, dict(layout), after, aim_deg, speed_mps, tip_b, run.first_hit, run.fullness
    )  # fmt: skip

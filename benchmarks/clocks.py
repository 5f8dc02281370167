"""Measuring one piece of work: wall and processor seconds, best of a few runs."""

from __future__ import annotations

import multiprocessing
import os
import resource
import time
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing import forkserver
from pathlib import Path

import av

CHILD_S = 10.0
"""Longest wait for a worker that has nothing left to do."""


@dataclass(frozen=True)
class Cost:
    """What a piece of work took; processor seconds count all threads of this process and its children."""

    wall_s: float
    cpu_s: float

    def over(self, floor: Cost) -> tuple[float, float]:
        """Wall and processor ratio to the floor."""
        return self.wall_s / floor.wall_s, self.cpu_s / floor.cpu_s

    def scaled(self, factor: float) -> Cost:
        """The cost of `factor` times the work."""
        return Cost(self.wall_s * factor, self.cpu_s * factor)


def _cpu_s() -> float:
    t = os.times()
    return t.user + t.system + t.children_user + t.children_system


def cost_of(work: Callable[[], object]) -> Cost:
    """Run once and measure."""
    cpu, wall = _cpu_s(), time.perf_counter()
    work()
    took_s = time.perf_counter() - wall
    for child in multiprocessing.active_children():  # their time is known once they have ended
        child.join(CHILD_S)
    forkserver._forkserver._stop()  # type: ignore[attr-defined]  # and that of those it copied
    return Cost(took_s, _cpu_s() - cpu)


def best(runs: list[Cost]) -> Cost:
    """The least of each: other work on the machine only ever adds."""
    return Cost(min(r.wall_s for r in runs), min(r.cpu_s for r in runs))


def decode(footage: Path) -> int:
    """Decode every picture and do nothing with it; returns their number. The floor of the analysis."""
    with av.open(str(footage)) as container:
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        return sum(1 for _ in container.decode(stream))


def table(rows: list[tuple[str, Cost]], floor: Cost, frames: int) -> str:
    """A small table, each row against the floor."""
    lines = [f"{'':28s} {'wall s':>8s} {'cpu s':>8s} {'frames/s':>9s} {'wall x':>7s} {'cpu x':>7s}"]
    for name, c in rows:
        wall, cpu = c.over(floor)
        lines.append(
            f"{name:28s} {c.wall_s:8.2f} {c.cpu_s:8.2f} {frames / c.wall_s:9.1f} {wall:7.2f} {cpu:7.2f}"
        )
    return "\n".join(lines)


def peak_mb() -> float:
    """The most memory that this process has held so far, in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024

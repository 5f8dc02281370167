"""Telling the person how far a long job is: a bar with the time left on a terminal, plain lines elsewhere.

All of it goes to standard error; standard output holds results only.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Report = Callable[[float], None]
"""Called with the share of the work that is done, 0 to 1."""


def ignore(done: float) -> None:
    """A Report for nobody."""


class Talk:
    """Tells nobody; for calls from other programs, and what the others build on."""

    def say(self, line: str) -> None:
        """Drop the line."""

    @contextmanager
    def step(self, what: str) -> Iterator[Report]:
        """Begin a long step: a `with` block that yields a Report."""
        yield ignore


class Lines(Talk):
    """One line on standard error as each step begins."""

    def say(self, line: str) -> None:
        """Print the line."""
        print(line, file=sys.stderr, flush=True)

    @contextmanager
    def step(self, what: str) -> Iterator[Report]:
        """Print what begins; shares are not shown."""
        self.say(f"{what} ...")
        yield ignore


class Bar(Lines):
    """A moving bar with the time left."""

    @contextmanager
    def step(self, what: str) -> Iterator[Report]:
        """Show the bar while the block runs."""
        # Here and not above: importing rich takes 60 ms, which --help need not wait for.
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

        columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
        with Progress(*columns, console=Console(stderr=True), transient=False) as bar:
            task = bar.add_task(what, total=1.0)

            def report(done: float) -> None:
                bar.update(task, completed=min(max(done, 0.0), 1.0))

            yield report
            bar.update(task, completed=1.0)


def talk() -> Talk:
    """A bar where standard error is a terminal, else plain lines."""
    return Bar() if sys.stderr.isatty() else Lines()

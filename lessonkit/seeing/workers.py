"""Work side by side: the footage is cut into stretches that can be looked at apart, one process for each processor.

Threads would not do: half of the work is Python's own, of which only one thread at a time can be run.
"""

from __future__ import annotations

import importlib
import multiprocessing
import os
import signal
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import forkserver
from multiprocessing.context import BaseContext
from typing import ParamSpec, TypeVar

from lessonkit.errors import FootageError
from lessonkit.seeing.threads import processors

P = ParamSpec("P")
R = TypeVar("R")

MOST = 4
"""Each worker holds pictures of its own, so more would cost more memory than they save time."""
MOST_SOCKET_PATH, SOCKET_NAME = 107, 40
"""Longest name of a socket that Linux takes (unix(7)), and so much of it is left for what Python adds to the temporary folder's."""
_NEEDED = ("scipy.optimize", "lessonkit.seeing.first_look", "lessonkit.seeing.following")
WORTH_S = 12.0
"""Shorter footage is looked at before workers have started."""


class Workers:
    """Runs functions of modules (not lambdas) with arguments that can be pickled."""

    def __init__(self, pool: ProcessPoolExecutor | None, count: int) -> None:
        self._pool = pool
        self.count = count
        self.threads = max(1, processors() // count) if pool is not None else 0
        """For decoding in each; 0: as many as there are processors."""

    def submit(self, work: Callable[P, R], *args: P.args, **kwargs: P.kwargs) -> Future[R]:
        """Start the work; without a pool it is done at once. Its errors come out of `Future.result`."""
        if self._pool is not None:
            try:
                return self._pool.submit(work, *args, **kwargs)
            except BrokenProcessPool as e:
                raise _broken() from e
        future: Future[R] = Future()
        try:
            future.set_result(work(*args, **kwargs))
        except Exception as e:
            future.set_exception(e)
        return future

    def result(self, future: Future[R]) -> R:
        """The work's result. Raises FootageError when a worker was stopped from outside."""
        try:
            return future.result()
        except BrokenProcessPool as e:
            raise _broken() from e


def _broken() -> FootageError:
    return FootageError(
        "A part of the work was stopped from outside, most likely for want of memory; close other programs and try "
        "again: what was done is kept where it can be."
    )


@contextmanager
def workers(duration_s: float) -> Iterator[Workers]:
    """Workers for footage of this length; none for short footage or a single processor."""
    count = min(MOST, processors())
    # what is itself a worker starts none
    if duration_s < WORTH_S or count < 2 or multiprocessing.parent_process() is not None:
        yield Workers(None, 1)
        return
    with _stopped_later() as stopped:
        pool = ProcessPoolExecutor(count, _context(), initializer=_ready)
        for _ in range(count):
            pool.submit(_import)
    try:
        if stopped:
            raise KeyboardInterrupt
        yield Workers(pool, count)
    except BaseException:
        for child in multiprocessing.active_children():
            child.terminate()
        raise
    finally:
        # waited for: a pool that still closes its pipes while Python ends makes Python complain of them
        pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def _stopped_later() -> Iterator[list[int]]:
    """Ctrl-C is only noted down meanwhile: a worker whose start was broken off is known to nobody, and complains of it."""
    stopped: list[int] = []
    if threading.current_thread() is not threading.main_thread():
        yield stopped
        return
    before = signal.signal(signal.SIGINT, lambda number, _: stopped.append(number))
    try:
        yield stopped
    finally:
        # None: a handler that was not set by Python
        signal.signal(signal.SIGINT, before if before is not None else signal.default_int_handler)


def _context() -> BaseContext:
    """How workers are started.

    A forked copy of a process that decodes with threads can hang, so on Linux they are copies of one that has only
    loaded what the work needs, which it does once for all of them; elsewhere, where copying is not safe, each starts afresh.
    """
    long = len(tempfile.gettempdir()) > MOST_SOCKET_PATH - SOCKET_NAME
    if long or not sys.platform.startswith("linux"):
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([__name__, *_NEEDED])
    # what is loaded must be this program, and not another copy of it that is installed or lies in the present folder
    before = dict(os.environ)
    os.environ.update(PYTHONPATH=os.pathsep.join(p for p in sys.path if p), PYTHONSAFEPATH="1")
    try:
        forkserver.ensure_running()
    finally:
        for name in ("PYTHONPATH", "PYTHONSAFEPATH"):
            os.environ.pop(name)
            if name in before:
                os.environ[name] = before[name]
    return context


def _ready() -> None:
    # the person's Ctrl-C reaches the whole group; the parent alone says what comes of it
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # a parent that was killed can say nothing, and a worker would wait for work for ever
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _import() -> None:
    """Load what the work needs while the parent still finds the table."""
    for name in _NEEDED:
        importlib.import_module(name)

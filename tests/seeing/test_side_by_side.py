"""Work cut into stretches and done by several processes."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from lessonkit.errors import FootageError
from lessonkit.footage.reader import open_footage, reopened
from lessonkit.seeing.first_look import STRETCH_S, stretches
from lessonkit.seeing.threads import in_threads
from lessonkit.seeing.workers import Workers, workers

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_media" / "club-night.mp4"


def test_stretches_leave_nothing_out() -> None:
    """Each begins at a key frame where the one before ends, the first at the start and the last past the end."""
    with open_footage(SAMPLE) as footage:
        cut = stretches(footage)
        keys = footage.key_times()
        assert cut[0][0] == 0.0
        assert cut[-1][1] > footage.info.duration_s
        for (_, end), (start, _) in pairwise(cut):
            assert end == start and any(abs(start - k) < 1e-9 for k in keys)
        assert all(b - a >= STRETCH_S / 2 for a, b in cut)


def test_a_stretch_reads_like_the_whole() -> None:
    """Footage that another process opens again gives, from a key frame on, the very frames of the first reading."""
    with open_footage(SAMPLE) as footage:
        start_s = stretches(footage)[1][0]
        end_s = start_s + 0.5
        whole = [(f.t_s, int(np.sum(f.luma()[::16, ::16], dtype=int))) for f in footage.frames(0.0, end_s)]
        with reopened(SAMPLE, footage.reading) as again:
            part = [
                (f.t_s, int(np.sum(f.luma()[::16, ::16], dtype=int))) for f in again.frames(start_s, end_s)
            ]
    assert part == [f for f in whole if f[0] >= start_s - 1e-9]
    assert len(part) >= 14


def test_threads_keep_the_order() -> None:
    """What threads make of items comes in the items' order, however long each takes, and an error comes out."""
    assert in_threads(lambda k: (time.sleep(0.002 * (5 - k)), k * k)[1], range(6)) == [0, 1, 4, 9, 16, 25]
    with pytest.raises(ZeroDivisionError):
        in_threads(lambda k: 1 // k, [1, 0, 2])


def test_short_footage_needs_no_workers() -> None:
    """Work on a few seconds is done at once, in this process; its errors come out with its result."""
    with workers(3.0) as hands:
        assert hands.count == 1
        assert hands.result(hands.submit(pow, 2, 5)) == 32
        failed = hands.submit(divmod, 1, 0)
        with pytest.raises(ZeroDivisionError):
            hands.result(failed)


LONG = """
from lessonkit.seeing.workers import workers
if __name__ == "__main__":
    with workers(1000.0) as hands:
        print(hands.result(hands.submit(pow, 2, 5)))
"""


def test_workers_start_whatever_the_temporary_folder_is_called(tmp_path: Path) -> None:
    """The name of a socket may not be long on Linux (108 bytes with its end, unix(7)); that of a folder may."""
    folder = tmp_path / ("long" * 30)
    folder.mkdir()
    (tmp_path / "job.py").write_text(LONG)
    done = subprocess.run(
        [sys.executable, str(tmp_path / "job.py")], capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(folder)},
    )  # fmt: skip
    assert done.stdout == "32\n", done.stderr


COPY = """
import sys
sys.path.insert(0, sys.argv[1])
import lessonkit.footage.reader as reader
from lessonkit.seeing.workers import workers
if __name__ == "__main__":
    with workers(1000.0) as hands:
        name = hands.result(hands.submit(eval, "__import__('lessonkit.footage.reader').__file__"))
        print(name, sys.modules["lessonkit"].__file__, sep="\\n")
"""


def test_workers_are_of_the_same_copy(tmp_path: Path) -> None:
    """A program that runs from a checkout has workers of that checkout, whatever copy is installed as well."""
    shutil.copytree(
        ROOT / "lessonkit", tmp_path / "checkout" / "lessonkit", ignore=shutil.ignore_patterns("__pycache__")
    )
    (tmp_path / "job.py").write_text(COPY)
    done = subprocess.run(
        [sys.executable, str(tmp_path / "job.py"), str(tmp_path / "checkout")],
        capture_output=True, text=True, check=True, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    worker, parent = done.stdout.split()
    assert worker == parent == str(tmp_path / "checkout" / "lessonkit" / "__init__.py")


KILLED = """
import os, sys
from pathlib import Path
from lessonkit.seeing.workers import workers
if __name__ == "__main__":
    with workers(1000.0) as hands:
        print(*{hands.result(hands.submit(os.getpid)) for _ in range(8)}, flush=True)
        sys.stdin.read()
"""


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="looks processes up in /proc")
def test_workers_end_with_a_killed_parent(tmp_path: Path) -> None:
    """A job that is killed outright (SIGKILL: by the system for want of memory, or by hand) leaves no worker behind."""
    (tmp_path / "job.py").write_text(KILLED)
    with subprocess.Popen(
        [sys.executable, str(tmp_path / "job.py")], cwd=tmp_path, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        text=True, env={**os.environ, "PYTHONPATH": str(ROOT)},
    ) as job:  # fmt: skip
        assert job.stdout is not None
        found = [int(w) for w in job.stdout.readline().split()]
        job.kill()
    if found == [job.pid]:
        pytest.skip("one processor: no workers")
    deadline = time.monotonic() + 20
    while (left := [p for p in found if _runs(p)]) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert found and not left


def _runs(pid: int) -> bool:
    """Whether a process is there, and not only as an entry that nobody has asked for yet."""
    try:
        return (Path("/proc") / str(pid) / "stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def test_a_worker_that_is_stopped_is_said_so() -> None:
    """A process that ends in mid-work, as for want of memory, gives one sentence that says what to do."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    with ProcessPoolExecutor(1, get_context("spawn")) as pool:
        hands = Workers(pool, 1)
        with pytest.raises(FootageError, match="memory"):
            hands.result(hands.submit(os._exit, 3))
        with pytest.raises(FootageError, match="memory"):
            hands.submit(pow, 2, 5)

"""Compiling with what was compiled kept on disk, wherever there is room for it, and without where there is none."""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any, ParamSpec, TypeVar, cast

import numba
import numba.core.config

P = ParamSpec("P")
T = TypeVar("T")
CONFIG: Any = numba.core.config
KEEP = 4
"""So many earlier versions' folders are left beside the one in use."""
HERE = Path(__file__).parent


def compiled(function: Callable[P, T]) -> Callable[P, T]:
    """A function compiled at its first call for the types it is called with; the interpreter's lock is let go.

    Numba looks only at a function's own file when it asks whether kept code is out of date, not at the files of the
    functions it calls, so the code is kept in a folder that is named for the content of all of them.
    """
    folder = keeping_folder()
    before = CONFIG.CACHE_DIR
    if folder is not None:
        CONFIG.CACHE_DIR = str(folder)
        try:
            return cast("Callable[P, T]", numba.njit(function, cache=True, nogil=True, error_model="numpy"))
        except RuntimeError:
            pass  # the folder was taken away meanwhile
        finally:
            CONFIG.CACHE_DIR = before
    return cast("Callable[P, T]", numba.njit(function, nogil=True, error_model="numpy"))


@cache
def keeping_folder() -> Path | None:
    """Where compiled code is kept: what NUMBA_CACHE_DIR names, else beside the sources, else the user's cache folder.

    None: none of them can be written, so every process compiles anew.
    """
    name = f"lessonkit-{_fingerprint()}"
    return next((f / name for f in _places() if _writable(f / name)), None)


def _fingerprint() -> str:
    """Changes with any of the sources compiled here and with numba."""
    content = hashlib.sha256(numba.__version__.encode())
    for source in sorted(HERE.glob("*.py")):
        content.update(source.read_bytes())
    return content.hexdigest()[:16]


def _places() -> list[Path]:
    places = [Path(CONFIG.CACHE_DIR)] if CONFIG.CACHE_DIR else []
    places.append(HERE / "__pycache__")
    with suppress(RuntimeError):  # there may be no home
        places.append(Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "lessonkit")
    return places


def _writable(folder: Path) -> bool:
    """Whether the folder is there, or could be made, and takes a file."""
    try:
        new = not folder.exists()
        folder.mkdir(parents=True, exist_ok=True)
        tempfile.TemporaryFile(dir=folder).close()
    except OSError:
        return False
    if new:
        _forget_old(folder)
    return True


def _forget_old(folder: Path) -> None:
    """Remove all but the newest of other versions' folders."""
    others = [f for f in folder.parent.glob("lessonkit-*") if f.is_dir() and f != folder]
    for old in sorted(others, key=lambda f: f.stat().st_mtime, reverse=True)[KEEP:]:
        shutil.rmtree(old, ignore_errors=True)

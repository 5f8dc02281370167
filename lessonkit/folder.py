"""The lesson folder: ours or empty before we write, and every file whole or absent.

A file is written beside its place under a `.part` name and moved there when it is whole, so a job killed at any
moment leaves no half file under a final name.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from lessonkit import __version__
from lessonkit.errors import FolderError

MARK = ".lessonkit.json"
"""Says that the folder was made by lessonkit, so that a later run may replace what an earlier one wrote."""


def open_folder(path: Path) -> Path:
    """Make `path` ready to take a lesson.

    Raises FolderError when it is a file, holds things that are not lessonkit's, or cannot be written.
    """
    if path.exists() and not path.is_dir():
        raise FolderError(f"{path} is a file, not a folder; give --out a folder to write the lesson into.")
    try:
        path.mkdir(parents=True, exist_ok=True)
        mark = path / MARK
        known = remembered(path)
        if not mark.exists() and any(path.iterdir()):
            raise FolderError(
                f"The folder {path} holds files that lessonkit did not make, so nothing was written there; "
                "give --out a new or empty folder."
            )
        write_text(mark, json.dumps({**known, "made_by": "lessonkit", "version": __version__}))
    except OSError as e:
        raise FolderError(
            f"The folder {path} cannot be written ({e.strerror}); give --out one that can."
        ) from e
    return path


def remembered(path: Path) -> dict[str, str]:
    """What is known of a lesson folder besides its files, as `remember` wrote it; empty where nothing is."""
    try:
        known = json.loads((path / MARK).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return {str(k): str(v) for k, v in known.items()} if isinstance(known, dict) else {}


def remember(path: Path, **facts: str) -> None:
    """Keep facts of an open lesson folder in its mark. Raises FolderError where it cannot be written."""
    write_text(path / MARK, json.dumps({**remembered(path), **facts}))


def beside_of(path: Path) -> Path:
    """Where a file is written until it is whole."""
    return path.with_name(f".{path.stem}.part{path.suffix}")


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """Yield a place to write to; what was written is moved to `path` when the block ends without an error.

    Raises FolderError, and leaves an earlier `path` as it was, when the disk is full or the folder not writable.
    """
    part = beside_of(path)
    try:
        yield part
        part.replace(path)
    except OSError as e:
        part.unlink(missing_ok=True)
        raise FolderError(f"{path.name} could not be written to {path.parent} ({e.strerror or e}); free some space "
                          "or give --out another folder.") from e  # fmt: skip
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def write_text(path: Path, text: str) -> None:
    """Write a whole UTF-8 text file."""
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, content: bytes) -> None:
    """Write a whole file."""
    with whole(path) as part, part.open("wb") as f:
        f.write(content)
        f.flush()
        os.fsync(f.fileno())

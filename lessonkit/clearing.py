"""A lesson folder given over to another film: what an earlier lesson wrote there goes, what a person put there stays."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from lessonkit.errors import FolderError

_HIDDEN = (".cuts.json", ".seen.json", ".voice.json")
_WITHIN = {
    "stills": re.compile(r"shot-\d{2,}-(plan|result)\.png"),
    "clips": re.compile(r"shot-\d{2,}\.(mp4|srt|vtt)"),
    "thumbnails": re.compile(r"[\w-]+\.png"),
    ".pieces": re.compile(r"\d+x\d+-\d+-[0-9a-f]{32}\.(mp4|json)"),
}
"""Folders of a lesson, and which files in them are its own."""


def clear(out: Path, written: Sequence[str]) -> None:
    """Remove those of the lesson's own folders, what it remembered, and the files named in `written` in their order.

    The folder's mark and the settings stay. Give analysis.json last: while it is there, a run that was stopped in between
    is known for what it is.

    Raises FolderError where something cannot be removed.
    """
    try:
        for name, ours in _WITHIN.items():
            inside = out / name
            if not inside.is_dir() or inside.is_symlink():
                continue
            for file in inside.iterdir():
                if file.is_file() and ours.fullmatch(file.name):
                    file.unlink()
            if not any(inside.iterdir()):
                inside.rmdir()
        for name in (*_HIDDEN, *written):
            file = out / name
            if file.is_file() or file.is_symlink():
                file.unlink()
    except OSError as e:
        raise FolderError(
            f"The lesson in {out} cannot be removed ({e.strerror}); give --out another folder."
        ) from e

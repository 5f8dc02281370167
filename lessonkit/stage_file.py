"""What the footage told, kept in the lesson folder so that a changed note need not watch it again.

The file is JSON, as analysis.json is, and carries the key of what it was made from; a file with another key, a
damaged one or none at all means watching again. It is moved into place whole, so a killed job leaves none.
"""

from __future__ import annotations

import hashlib
import json
from functools import cache
from pathlib import Path

from lessonkit import __version__
from lessonkit.analysis_file import from_json, to_json
from lessonkit.folder import write_text
from lessonkit.model import Analysis, Seen, Shot

SEEN = ".seen.json"
_PART = 1 << 20
_EYES = ("footage", "table", "seeing")
"""The rooms that what was seen depends on."""


@cache
def _code_digest() -> str:
    """Of the code that watches: a changed lessonkit of the same version watches again."""
    home = Path(__file__).parent
    digest = hashlib.sha256()
    for room in _EYES:
        for source in sorted((home / room).glob("*.py")):
            digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


def footage_key(footage: Path, options: dict[str, object]) -> str:
    """Names what `Seen` is made from: the footage's size, age and parts of its content, the options and lessonkit.

    Reads at most three megabytes of the footage, so that hours of it cost no more than a minute.
    """
    age = footage.stat().st_mtime_ns
    digest = hashlib.sha256(f"{age} {__version__} {_code_digest()} {film_print(footage)}".encode())
    digest.update(json.dumps(options, sort_keys=True, default=str).encode())
    return digest.hexdigest()


def film_print(footage: Path) -> str:
    """Tells one film from another whatever the file is called: of its size and parts of its content."""
    size = footage.stat().st_size
    digest = hashlib.sha256(str(size).encode())
    with footage.open("rb") as f:
        for at in (0, max(0, size // 2), max(0, size - _PART)):
            f.seek(at)
            digest.update(f.read(_PART))
    return digest.hexdigest()


def keep_seen(folder: Path, key: str, seen: Seen) -> None:
    """Write what was seen into `folder` under `key`; raises FolderError when it cannot be written."""
    shots = tuple(Shot(s) for s in seen.shots)
    body = to_json(Analysis(seen.footage, seen.table, seen.camera, shots, cameras=seen.cameras))
    write_text(folder / SEEN, json.dumps({"key": key, "seen": body, "doubts": seen.doubts}, allow_nan=False))


def kept_seen(folder: Path, key: str) -> Seen | None:
    """What an earlier run saw under the same key, or None."""
    try:
        j = json.loads((folder / SEEN).read_text(encoding="utf-8"))
        if j["key"] != key:
            return None
        a = from_json(j["seen"])
        doubts = tuple(str(d) for d in j["doubts"])
    except (OSError, ValueError, KeyError, TypeError, IndexError):
        return None
    return Seen(a.footage, a.table, a.camera, tuple(s.seen for s in a.shots), doubts, a.cameras)

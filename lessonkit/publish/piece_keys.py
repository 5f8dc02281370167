"""What a rendered piece was made from, as a short name: equal names mean that it need not be made again."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, replace
from functools import cache
from pathlib import Path

from lessonkit import stage_file
from lessonkit.analysis_file import to_json
from lessonkit.lesson.cutlist import Piece
from lessonkit.lesson.settings import Settings
from lessonkit.model import Analysis
from lessonkit.publish.encoder import Form

_HANDS = ("footage", "table", "lesson", "publish")
"""The rooms that a rendered piece depends on."""


@cache
def _code_digest() -> str:
    home = Path(__file__).parent.parent
    digest = hashlib.sha256()
    for room in _HANDS:
        for source in sorted((home / room).glob("*.py")):
            digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


class PieceKeys:
    """Names pieces of one rendering."""

    def __init__(self, footage: Path, analysis: Analysis, settings: Settings, form: Form, more: str) -> None:
        """`more` is whatever else the pieces depend on."""
        self._analysis, self._rate = analysis, form.rate
        looks = {
            "colours": asdict(settings.colours),
            "fonts": [file_digest(f) for f in asdict(settings.fonts).values()],
            "look": asdict(settings.look),
            "logo": [asdict(settings.logo), file_digest(settings.logo.file)],
        }
        seen = replace(
            analysis,
            shots=tuple(replace(s, note=None, more_notes=(), plan=None, plan_b=None, comparison=None, stroke=None)
                        for s in analysis.shots),
        )  # fmt: skip
        self._common = json.dumps(
            [_code_digest(), stage_file.footage_key(footage, {}), asdict(form), looks, to_json(seen), more],
            sort_keys=True, default=str,
        )  # fmt: skip

    def key(self, piece: Piece, more: str = "") -> str:
        """The name of one piece: of what it shows, not of where in the lesson it stands."""
        a = self._analysis
        shots = tuple(s for s in a.shots if piece.shot is None or s.seen.number == piece.shot)
        about = asdict(replace(piece, start_s=0.0, say="", voice=()))
        frames = round(piece.end_s * self._rate) - round(piece.start_s * self._rate)
        clip = file_digest(piece.file) if piece.file else ""
        own = json.dumps(
            [about, frames, clip, to_json(replace(a, shots=shots)), more], sort_keys=True, default=str
        )
        return hashlib.sha256((self._common + own).encode()).hexdigest()[:32]


def file_digest(path: str) -> str:
    """Of a file's content; '' where there is none."""
    if not path:
        return ""
    with Path(path).open("rb") as f:
        return hashlib.file_digest(f, "sha256").hexdigest()

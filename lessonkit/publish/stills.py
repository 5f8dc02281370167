"""Pictures beside the lesson: full-size stills of each shot, and the layout before the first one seen from above.

They are written while the lesson is rendered, from the very pictures that it shows, so nothing is read or drawn twice.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import cv2

from lessonkit import folder
from lessonkit.errors import FolderError
from lessonkit.lesson.picture import U8, Picture
from lessonkit.model import Analysis, Camera
from lessonkit.table.topview import top_view

TOP_VIEW = "top-view.png"
TOP_BORDER_MM = 100.0
"""The squared-up table is shown with its cushions, for balls on a rail to be whole."""


class Beside:
    """Writes stills/shot-01-plan.png, stills/shot-01-result.png and so on, and top-view.png, into a lesson folder.

    Its methods raise FolderError when a file cannot be written.
    """

    def __init__(self, out: Path, analysis: Analysis) -> None:
        self.written: list[Path] = []
        """The stills, in the order in which they were made."""
        self._out, self._analysis = out, analysis
        self._top_done = False
        self.fresh: dict[str, str] = {}
        """Name and content of what was written since this was last emptied: for `has`."""
        (out / "stills").mkdir(parents=True, exist_ok=True)

    def still(self, shot: int, kind: str, picture: Picture) -> None:
        """Keep a shot's still; `kind` is 'plan' or 'result'."""
        path = self._out / "stills" / f"shot-{shot:02d}-{kind}.png"
        self._png(path, picture.to_bgr())
        self.written.append(path)

    def layout(self, picture: Picture, camera: Camera) -> None:
        """Keep the first of these, the layout before a shot, squared up; `camera` is the picture's."""
        if self._top_done:
            return
        squared = top_view(picture.to_bgr(), camera, self._analysis.table, border_mm=TOP_BORDER_MM)
        self._png(self._out / TOP_VIEW, squared)
        self._top_done = True

    def has(self, wanted: dict[str, str]) -> bool:
        """Whether all of an earlier run's `fresh` still lie there as they were written; they then count as written."""
        for name, digest in wanted.items():
            try:
                content = (self._out / name).read_bytes()
            except OSError:
                return False
            if _digest(content) != digest:
                return False
        self.written += [self._out / n for n in wanted if n != TOP_VIEW]
        self._top_done = self._top_done or TOP_VIEW in wanted
        return True

    def _png(self, path: Path, bgr: U8) -> None:
        good, data = cv2.imencode(".png", bgr)
        if not good:
            raise FolderError(f"{path.name} could not be made; report this with the footage's size.")
        content = data.tobytes()
        folder.write_bytes(path, content)
        self.fresh[path.relative_to(self._out).as_posix()] = _digest(content)


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()

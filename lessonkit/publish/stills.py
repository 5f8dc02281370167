"""Pictures beside the lesson: full-size stills of each shot, and the layout before the first one seen from above.

They are written while the lesson is rendered, from the very pictures that it shows, so nothing is read or drawn twice.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from lessonkit import folder
from lessonkit.errors import FolderError
from lessonkit.lesson.picture import U8, Picture
from lessonkit.model import Analysis
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
        (out / "stills").mkdir(parents=True, exist_ok=True)

    def still(self, shot: int, kind: str, picture: Picture) -> None:
        """Keep a shot's still; `kind` is 'plan' or 'result'."""
        path = self._out / "stills" / f"shot-{shot:02d}-{kind}.png"
        _png(path, picture.to_bgr())
        self.written.append(path)

    def layout(self, picture: Picture) -> None:
        """Keep the first of these, the layout before a shot, squared up."""
        if self._top_done:
            return
        # The stills may be smaller than the footage; the camera was measured at the footage's size.
        size = (self._analysis.footage.width, self._analysis.footage.height)
        full = np.asarray(cv2.resize(picture.to_bgr(), size), np.uint8)
        squared = top_view(full, self._analysis.camera, self._analysis.table, border_mm=TOP_BORDER_MM)
        _png(self._out / TOP_VIEW, squared)
        self._top_done = True


def _png(path: Path, bgr: U8) -> None:
    good, data = cv2.imencode(".png", bgr)
    if not good:
        raise FolderError(f"{path.name} could not be made; report this with the footage's size.")
    folder.write_bytes(path, data.tobytes())

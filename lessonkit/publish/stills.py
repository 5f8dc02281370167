"""Full-size stills of each shot for pages and thumbnails: the layout with the plan, and planned against actual."""

from __future__ import annotations

from pathlib import Path

import cv2

from lessonkit import folder
from lessonkit.errors import FolderError
from lessonkit.footage.reader import open_footage
from lessonkit.lesson.picture import Picture
from lessonkit.lesson.plan_scene import plan_still
from lessonkit.lesson.result_scene import result_still
from lessonkit.lesson.scene import pen_for, set_up
from lessonkit.lesson.stills import Stills
from lessonkit.model import Analysis


def write_stills(footage: Path, analysis: Analysis, folder_path: Path) -> list[Path]:
    """Write shot-01-plan.png and shot-01-result.png and so on; return the files in order.

    Raises FootageError when the footage cannot be read, FolderError when a file cannot be written.
    """
    written: list[Path] = []
    folder_path.mkdir(parents=True, exist_ok=True)
    with open_footage(footage) as source:
        stills = Stills(source, analysis)
        for shot in analysis.shots:
            base = stills.before(shot.seen)
            scene = set_up(analysis, shot, pen_for(analysis, base))
            name = f"shot-{shot.seen.number:02d}"
            written.append(_png(folder_path / f"{name}-plan.png", plan_still(scene, base).at(1.0)))
            after = result_still(scene, stills.after(shot.seen))
            written.append(_png(folder_path / f"{name}-result.png", after.at(1.0)))
    return written


def _png(path: Path, picture: Picture) -> Path:
    good, data = cv2.imencode(".png", picture.to_bgr())
    if not good:
        raise FolderError(f"{path.name} could not be made; report this with the footage's size.")
    folder.write_bytes(path, data.tobytes())
    return path

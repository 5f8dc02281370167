"""A contact sheet of every kind of frame of a lesson: `contact_sheet.py FOOTAGE LESSON_FOLDER SHEET.jpg`.

Reads the folder's analysis.json; the kinds are title, plan as it grows, play, result, closing table, and the other
shapes and places of the diagram.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import get_args

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.analysis_file import read_analysis
from lessonkit.footage.reader import open_footage
from lessonkit.lesson.cards import background, card_pictures, table_pages, title_words
from lessonkit.lesson.cursor import Cursor
from lessonkit.lesson.drawn_table import DrawnTable
from lessonkit.lesson.plan_scene import plan_still
from lessonkit.lesson.play_scene import Play
from lessonkit.lesson.result_scene import result_still
from lessonkit.lesson.scene import pen_for, set_up
from lessonkit.lesson.stills import Stills
from lessonkit.lesson.view import Diagram, Shape, make_view, picture_size
from lessonkit.model import Analysis, Shot

Image = NDArray[np.uint8]
ROW_PX, GAP_PX, WIDE_PX = 300, 8, 1640
LIMIT_BYTES = 700_000


def shot_frames(
    footage: Path, analysis: Analysis, shot: Shot, shape: Shape, diagram: Diagram, grow: bool
) -> list[Image]:
    """Plan (as it grows, if wanted), play and result of one shot in one view."""
    view = make_view(analysis, picture_size(analysis, shape), shape, diagram)
    with open_footage(footage) as source:
        cursor = Cursor(source)
        stills = Stills(source, analysis, cursor, view)
        base = stills.before(shot.seen)
        scene = set_up(analysis, shot, pen_for(analysis, base, view), view=view)
        plan = plan_still(scene, base)
        frames = [plan.at(s).to_bgr() for s in ((0.3, 0.55, 1.0) if grow else (1.0,))]
        t_s = shot.seen.strike_s + 0.6 * (shot.seen.rest_s - shot.seen.strike_s)
        play = Play(scene, base)
        drawn = diagram == "alone"
        picture = (
            DrawnTable(view, analysis).at(shot.seen, t_s).copy() if drawn else view.picture(cursor.at(t_s))
        )
        play.draw(picture, t_s)
        frames.append(picture.to_bgr())
        frames.append(result_still(scene, stills.after(shot.seen)).at(1.0).to_bgr())
    return frames


def cards(footage: Path, analysis: Analysis) -> list[Image]:
    """Title and closing table."""
    size = picture_size(analysis, "footage")
    with open_footage(footage) as source:
        ground = background(Stills(source, analysis).before(analysis.shots[0].seen))
    made = []
    for words in (title_words(analysis, *size), table_pages(analysis, *size)[0]):
        *_, (last, _) = card_pictures(ground, words, 30.0, 60)
        made.append(last.to_bgr())
    return made


def arranged(frames: list[Image]) -> Image:
    """Rows of frames of one height, on white."""
    rows: list[list[Image]] = [[]]
    for frame in frames:
        width = round(frame.shape[1] * ROW_PX / frame.shape[0])
        small = np.asarray(cv2.resize(frame, (width, ROW_PX), interpolation=cv2.INTER_AREA), np.uint8)
        if rows[-1] and sum(f.shape[1] + GAP_PX for f in rows[-1]) + width + GAP_PX > WIDE_PX:
            rows.append([])
        rows[-1].append(small)
    sheet = np.full((len(rows) * (ROW_PX + GAP_PX) + GAP_PX, WIDE_PX, 3), 255, np.uint8)
    for r, row in enumerate(rows):
        x, y = GAP_PX, GAP_PX + r * (ROW_PX + GAP_PX)
        for frame in row:
            sheet[y : y + ROW_PX, x : x + frame.shape[1]] = frame
            x += frame.shape[1] + GAP_PX
    return sheet


def main(footage: Path, folder: Path, out: Path) -> None:
    """Write the sheet, as fine as its limit of bytes allows."""
    analysis = read_analysis(folder / "analysis.json")
    shots = [s for s in analysis.shots if s.plan is not None] or list(analysis.shots)
    shot = max(shots, key=lambda s: len(s.plan.cue_path) if s.plan else 0)
    other = next((s for s in shots if s is not shot), shot)
    frames = cards(footage, analysis)
    frames += shot_frames(footage, analysis, shot, "footage", "inset", grow=True)
    frames += shot_frames(footage, analysis, other, "footage", "inset", grow=False)
    for shape in ("tall", "square"):
        assert shape in get_args(Shape)
        frames += shot_frames(footage, analysis, shot, shape, "inset", grow=False)
    frames += shot_frames(footage, analysis, shot, "wide", "beside", grow=False)
    frames += shot_frames(footage, analysis, shot, "wide", "alone", grow=False)
    sheet = arranged(frames)
    for quality in (90, 85, 80, 70, 60):
        _, data = cv2.imencode(".jpg", sheet, [cv2.IMWRITE_JPEG_QUALITY, quality])
        if len(data) < LIMIT_BYTES:
            break
    out.write_bytes(data.tobytes())


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:4]))

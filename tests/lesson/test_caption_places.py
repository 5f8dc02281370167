"""Captions keep off the action: at the lower edge, and in the upper part when the shot is played at the lower."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lessonkit.lesson.caption_places import placed
from lessonkit.lesson.cutting import build_cuts
from lessonkit.publish.caption_files import write_vtt
from tests.lesson import made

# The camera of tests.lesson.made looks straight down: y of the table runs up in the picture.
NEAR, MIDDLE, FAR = 60.0, 635.0, 1210.0


def lesson(y_mm: float) -> list[bool]:
    """For each caption of a shot along a line across the table's length: whether it is shown high."""
    s = made.shot(1, 5.0, 12.0, "Nine in the corner with draw. " * 3)
    path = np.array([[5.0, 600.0, y_mm], [12.0, 1900.0, y_mm]])
    balls = {0: (600.0, y_mm), 9: (1900.0, y_mm)}
    assert s.plan is not None
    plan = replace(s.plan, cue_path=((600.0, y_mm), (1900.0, y_mm)), ball_path=())
    seen = replace(
        s.seen, cue_path=path, layout_before=balls, layout_after={0: (1900.0, y_mm)}, paths={9: path}
    )
    near = replace(
        made.camera(), translation=np.array([-1270.0, 635.0, 2000.0])
    )  # the table fills the picture
    a = replace(made.analysis(replace(s, seen=seen, plan=plan)), camera=near)
    return [c.high for c in placed(build_cuts(a), a).cues]


@pytest.mark.parametrize(("y_mm", "high"), [(NEAR, True), (MIDDLE, False), (FAR, False)])
def test_captions_are_where_nothing_happens(y_mm: float, high: bool) -> None:
    """A shot along the lower edge has its captions in the upper part; any other at the lower edge."""
    found = lesson(y_mm)
    assert found and set(found) == {high}


def test_a_high_caption_says_so_in_webvtt(tmp_path: Path) -> None:
    """And only that one."""
    a = made.rack(["Nine in the corner."])
    cues = build_cuts(a).cues
    write_vtt([replace(cues[0], high=True), *cues[1:]], tmp_path / "a.vtt")
    timings = [x for x in (tmp_path / "a.vtt").read_text(encoding="utf-8").splitlines() if "-->" in x]
    assert [t.endswith(" line:14%") for t in timings] == [True] + [False] * (len(cues) - 1)

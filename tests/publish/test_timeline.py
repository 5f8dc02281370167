"""lesson.otio, read back by OpenTimelineIO itself."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import opentimelineio as otio
import pytest

from lessonkit.lesson.cutting import build_cuts
from lessonkit.publish.timeline_file import write_timeline
from tests.lesson.made import analysis, note, shot

TEXT = "0:04 The nine goes in the foot-left corner. Draw, firm, left side for the four."


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Any, Any]:
    """A lesson with a replay and a roll; its cut list, and the timeline as read."""
    marked = replace(shot(1, 5.0, 17.0, TEXT), note=note("Nine, foot-left. Again.", 4.0, replay=True))
    cuts = build_cuts(analysis(marked, shot(2, 25.0, 29.0, TEXT), duration_s=60.0))
    path = tmp_path_factory.mktemp("otio") / "lesson.otio"
    write_timeline(
        cuts, analysis(marked, shot(2, 25.0, 29.0, TEXT), duration_s=60.0), Path("practice.mp4"), path
    )
    return cuts, otio.adapters.read_from_file(str(path))


def test_it_lasts_as_long_as_the_lesson(written: tuple[Any, Any]) -> None:
    """Both tracks, to the frame; every piece is one item with its place."""
    cuts, line = written
    assert line.duration().to_seconds() == pytest.approx(cuts.duration_s, abs=1e-3)
    for track in line.tracks:
        assert track.duration().to_seconds() == pytest.approx(cuts.duration_s, abs=1e-3)
        assert len(track) == len(cuts.pieces)
        for piece, item in zip(cuts.pieces, track, strict=True):
            place = track.range_of_child(item)
            assert place.start_time.to_seconds() == pytest.approx(piece.start_s, abs=1e-3)
            assert place.duration.to_seconds() == pytest.approx(piece.duration_s, abs=1e-3)


def test_footage_has_its_source_ranges(written: tuple[Any, Any]) -> None:
    """Plays and stills name the footage and the time in it; what is slow or fast is warped, stills are frozen."""
    cuts, line = written
    for piece, item in zip(cuts.pieces, line.tracks[0], strict=True):
        if piece.source_start_s is None:
            assert isinstance(item.media_reference, otio.schema.GeneratorReference)
            continue
        assert item.media_reference.target_url.endswith("/practice.mp4")
        assert item.source_range.start_time.to_seconds() == pytest.approx(piece.source_start_s, abs=1e-3)
        effects = {type(e): e for e in item.effects}
        if piece.source_end_s is None:
            assert otio.schema.FreezeFrame in effects
        elif piece.speed != 1:
            assert effects[otio.schema.LinearTimeWarp].time_scalar == piece.speed
        else:
            assert not effects
    assert {p.speed for p in cuts.pieces} == {0.5, 1.0, 2.0}


def test_markers_name_chapters_captions_contacts_and_what_is_left_out(written: tuple[Any, Any]) -> None:
    """With their times."""
    cuts, line = written
    marks = [
        (m.metadata["lessonkit"]["what"], m.marked_range.start_time.to_seconds(), m.name)
        for m in line.tracks.markers
    ]
    assert [n for w, _, n in marks if w == "chapter"] == [c.title for c in cuts.chapters]
    assert [t for w, t, _ in marks if w == "caption"] == pytest.approx(
        [c.start_s for c in cuts.cues], abs=1e-3
    )
    assert sum(w == "left out" for w, _, _ in marks) == len(cuts.left_out) > 0
    play = next(i for p, i in zip(cuts.pieces, line.tracks[0], strict=True) if p.kind == "play")
    assert [m.name for m in play.markers] == [
        "strike",
        "the cue ball meets the nine",
        "the nine drops, foot-left corner",
    ]
    assert play.markers[0].marked_range.start_time.to_seconds() == pytest.approx(5.0, abs=1e-3)


def test_sound_is_the_footages_where_it_runs_at_its_speed(written: tuple[Any, Any]) -> None:
    """Gaps elsewhere."""
    cuts, line = written
    for piece, item in zip(cuts.pieces, line.tracks[1], strict=True):
        runs = piece.source_end_s is not None and piece.speed == 1.0
        assert isinstance(item, otio.schema.Clip if runs else otio.schema.Gap)

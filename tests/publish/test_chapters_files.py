"""Chapter files: WebVTT in order and on one line each, and lines that a video platform takes."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lessonkit.lesson.cutlist import Chapter
from lessonkit.lesson.cutting import build_cuts
from lessonkit.publish import chapter_files
from lessonkit.publish.chapter_files import chapter_lines, clock, write_chapter_vtt
from tests.lesson.made import rack
from tests.publish.vtt_rules import read_vtt

LINE = re.compile(r"((?:\d+:)?\d{1,2}:\d\d) (\S.*)")


@pytest.mark.parametrize(
    ("t_s", "text"),
    [(0, "0:00"), (9.99, "0:09"), (61, "1:01"), (754.2, "12:34"), (3599.5, "59:59"), (3600, "1:00:00"), (36061, "10:01:01")],
)  # fmt: skip
def test_clock(t_s: float, text: str) -> None:
    """m:ss, and h:mm:ss from an hour on; cut off, so that nobody lands after the start."""
    assert clock(t_s) == text


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.one_of(st.none(), st.text(max_size=300)), min_size=3, max_size=8))
def test_both_files_follow_the_rules(tmp_path: Path, texts: list[str | None]) -> None:
    """First at 0:00, ascending, at least 10 s apart as written; the WebVTT consecutive with the same titles."""
    cuts = build_cuts(rack(texts))
    chapter_files.write(cuts, tmp_path)
    lines = (tmp_path / "chapters.txt").read_text(encoding="utf-8").splitlines()
    found = [LINE.fullmatch(line) for line in lines]
    assert all(found)
    times = [sum(int(x) * 60**i for i, x in enumerate(reversed(m.group(1).split(":")))) for m in found if m]
    assert times[0] == 0
    assert all(b - a >= 10 for a, b in pairwise(times))
    cues = read_vtt((tmp_path / "chapters.vtt").read_bytes())
    assert [c.text for c in cues] == [m.group(2) for m in found if m]
    assert all(a.end_ms == b.start_ms for a, b in pairwise(cues))
    assert cues[-1].end_ms == round(cuts.duration_s * 1000)


def test_titles_stay_on_one_line(tmp_path: Path) -> None:
    """Line ends, markup and emptiness in a title do no harm."""
    odd = [Chapter("a\n\nb --> <c>", 0, 12), Chapter("\u200b", 12, 3700), Chapter("end", 3700, 3720)]
    assert chapter_lines(odd) == "0:00 a b --> <c>\n0:12 Untitled\n1:01:40 end\n"
    write_chapter_vtt(odd, tmp_path / "c.vtt")
    assert [c.text for c in read_vtt((tmp_path / "c.vtt").read_bytes())] == ["a b --> <c>", "Untitled", "end"]

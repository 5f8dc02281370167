"""The table for spreadsheets, and the text to publish."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.lesson.cutting import build_cuts
from lessonkit.model import Comparison, Head, Pocketed
from lessonkit.publish import description, shots_csv
from lessonkit.publish.shots_csv import HEADS, csv_text, row, safe
from tests.lesson.made import analysis, note, rack, seen, shot


def rows_of(text: str) -> list[dict[str, str]]:
    """Read by the standard library's reader, strictly."""
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def test_one_row_a_shot_with_units_in_the_head() -> None:
    """Figures as measured, empty where unknown."""
    a = rack(["Nine, foot-left.", None])
    first, second = rows_of(csv_text(a))
    assert first["shot"] == "1"
    assert first["strike (s)"] == "5.0"
    assert (first["called ball"], first["called pocket"], first["planned side"]) == ("9", "foot-left", "left")
    assert (first["landing x (mm)"], first["landing error (mm)"], first["cushions met"]) == (
        "1500.0",
        "180.0",
        "1",
    )
    assert (first["tip up (ball radii)"], first["tip left (ball radii)"]) == ("0.2", "")
    assert first["pocketed"] == "9 foot-left"
    assert first["scratch"] == "no"
    assert (second["called ball"], second["landing error (mm)"], second["note"]) == ("", "", "")
    assert set(row(a.shots[0])) == set(HEADS)


def test_form_is_rfc_4180() -> None:
    """CRLF ends each line, quotes are doubled, fields with commas quoted (RFC 4180, section 2), UTF-8."""
    text = csv_text(rack(['Say "nine", softly. ثمانية']))
    assert text.endswith("\r\n")
    assert text.count("\n") == text.count("\r\n") == 2
    assert '"Say ""nine"", softly. ثمانية"' in text


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", "\r@", " +", "＝"])
def test_text_is_never_a_formula(start: str) -> None:
    """A note that begins like one gets a quote before it (OWASP, CSV Injection); numbers stay numbers."""
    a = rack([start + "HYPERLINK(1)"])
    (only,) = rows_of(csv_text(a))
    assert only["note"].startswith("'")
    changed = replace(
        a.shots[0],
        comparison=Comparison(None, None, None, None, None, "-2+3", "=1"),
        more_notes=(note("@x"),),
    )
    (only,) = rows_of(csv_text(analysis(changed)))
    assert (only["verdict"], only["sentence"], only["more notes"]) == ("'-2+3", "'=1", "'@x")
    assert safe("9-ball = fun") == "9-ball = fun"


def test_scratch_and_doubt_are_told() -> None:
    """Several drops in one cell, the cue ball as 0."""
    s = shot(1, 5.0, 9.0)
    s = replace(
        s, seen=seen(1, 5.0, 9.0, pocketed=(Pocketed(9, "foot-left", 6.0), Pocketed(0, "side-left", 7.0)), doubtful=(3, 11))
    )  # fmt: skip
    (only,) = rows_of(csv_text(analysis(s)))
    assert (only["scratch"], only["pocketed"], only["doubtful balls"]) == (
        "yes",
        "9 foot-left; 0 side-left",
        "3; 11",
    )


@settings(max_examples=100, deadline=None)
@given(st.lists(st.text(max_size=80), max_size=4))
def test_any_notes_make_a_table(texts: list[str]) -> None:
    """As many rows as shots, every cell in its column, no text cell a formula."""
    text = csv_text(rack(list(texts)))
    rows = rows_of(text)
    assert len(rows) == len(texts)
    assert text.count("\r\n") == len(texts) + 1
    for r in rows:
        assert None not in r
        assert not r["note"].startswith(("=", "+", "-", "@"))


def test_files_come_whole(tmp_path: Path) -> None:
    """The head is there even without a shot."""
    shots_csv.write(analysis(), tmp_path)
    assert (tmp_path / "shots.csv").read_bytes().decode("utf-8") == ",".join(HEADS) + "\r\n"


def test_description_has_title_chapters_and_cautions(tmp_path: Path) -> None:
    """Chapters as lines to paste; doubts and leave of the people filmed for the maker."""
    a = rack(
        ["The nine goes in the foot-left corner. Draw it back to the middle of the table for the four ball."]
        * 3
    )
    a = replace(a, head=Head(title="Thursday rack"), shots=(replace(a.shots[0], seen=replace(a.shots[0].seen, doubtful=(3,))), *a.shots[1:]))  # fmt: skip
    description.write(a, build_cuts(a), tmp_path)
    text = (tmp_path / "description.md").read_text(encoding="utf-8")
    assert text.startswith("# Thursday rack\n\nThree shots; 3 of 3 called balls made.")
    assert "\n0:00 Shot 1: nine, foot-left" in text
    assert "could not be told for sure in shot 1." in text
    assert "guardian's for minors" in text
    short = analysis(shot(1, 2.0, 4.0), duration_s=5.0)
    assert "too short" in description.description(short, build_cuts(short))

"""Caption files: whatever a note says, both files are valid and say the same, by other people's readers too."""

from __future__ import annotations

import io
import tomllib
from itertools import pairwise
from pathlib import Path
from typing import Any

import pysrt
import pytest
import webvtt
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lessonkit.lesson.cutlist import Cue
from lessonkit.lesson.cutting import build_cuts
from lessonkit.publish import caption_files
from lessonkit.publish.caption_files import vtt, vtt_time, write_srt, write_vtt
from tests.lesson.made import rack
from tests.publish.vtt_rules import read_vtt, time_ms
from tests.running import ROOT

SOURCES: dict[str, Any] = tomllib.loads((ROOT / "shared" / "captions.toml").read_text(encoding="utf-8"))
NASTY = st.sampled_from(
    ["-->", "00:01.000 --> 00:02.000", "<b>", "</v>", "&amp;", "&", "NOTE x", "WEBVTT", "\r\n\r\n", "STYLE", "1", "\u2028",
     "\x85", "عيب", "👩‍👩‍👧‍👦", "{\\an8}", "\x00", "\ufeff", "'", '"']
)  # fmt: skip
TEXTS = st.one_of(
    st.text(max_size=150), st.lists(st.one_of(NASTY, st.text(max_size=12)), max_size=12).map(" ".join)
)
QUICK = settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def test_worked_example_of_a_time() -> None:
    """shared/captions.toml, examples; and hours beyond two digits."""
    example = SOURCES["examples"]
    assert vtt_time(example["seconds"]) == example["webvtt"]
    assert vtt_time(360000) == "100:00:00.000"
    assert vtt_time(59.9996) == "00:01:00.000"


def test_the_strict_reader_knows_the_standards_times() -> None:
    """The reader used below accepts and rejects what the W3C's writer syntax does (shared/captions.toml, webvtt)."""
    for good in SOURCES["webvtt"]["writer_valid"]:
        time_ms(good)
    for pair in SOURCES["webvtt"]["seconds_of"]:
        assert time_ms(pair["text"]) == round(pair["seconds"] * 1000)
    for bad in SOURCES["webvtt"]["not_writer_valid"]:
        with pytest.raises(ValueError, match="timestamp"):
            time_ms(bad)


@pytest.mark.parametrize(
    "broken",
    [
        "WEBVTT\n\n1\n00:02.000 --> 00:01.000\nx\n",
        "WEBVTT\n\n00:02.000 --> 00:03.000\nx\n\n00:01.000 --> 00:03.000\ny\n",
        "WEBVTT\n\n00:01.000 --> 00:03.000\na & b\n",
        "WEBVTT\n\n00:01.000 --> 00:03.000\n<b>a\n",
        "WEBVTT\n\n00:01,000 --> 00:03,000\na\n",
        "WEBVTTX\n\n00:01.000 --> 00:03.000\na\n",
        "WEBVTT\n\n1\n00:01.000 --> 00:03.000\na\n\n1\n00:03.000 --> 00:04.000\na\n",
    ],
)
def test_the_strict_reader_refuses_broken_files(broken: str) -> None:
    """Else the tests below would prove nothing."""
    with pytest.raises(ValueError, match=r"order|escaped|timings|signature|twice"):
        read_vtt(broken.encode())


@QUICK
@given(st.lists(TEXTS, min_size=1, max_size=4))
def test_any_notes_give_valid_files(tmp_path: Path, texts: list[str]) -> None:
    """By our strict reader, webvtt-py and pysrt: same number, same times, same words, limits kept."""
    cuts = build_cuts(rack(list(texts)))
    write_vtt(cuts.cues, tmp_path / "a.vtt")
    write_srt(cuts.cues, tmp_path / "a.srt")
    strict = read_vtt((tmp_path / "a.vtt").read_bytes())
    assert [c.text for c in strict] == [c.text for c in cuts.cues]
    for c, made in zip(strict, cuts.cues, strict=True):
        assert (c.start_ms, c.end_ms) == (round(made.start_s * 1000), round(made.end_s * 1000))
        assert 833 <= c.end_ms - c.start_ms <= 7000
        assert len(c.text) / (c.end_ms - c.start_ms) * 1000 <= 17
        assert len(c.text.split("\n")) <= 2
        assert all(len(line) <= 42 for line in c.text.split("\n"))
    assert all(a.end_ms <= b.start_ms for a, b in pairwise(strict))
    other = list(webvtt.from_buffer(io.StringIO((tmp_path / "a.vtt").read_text(encoding="utf-8"))))
    assert [time_ms(c.start) for c in other] == [c.start_ms for c in strict]
    srt = pysrt.open(str(tmp_path / "a.srt"), encoding="utf-8", error_handling=pysrt.ERROR_RAISE)
    assert [(i.index, i.start.ordinal, i.end.ordinal) for i in srt] == [
        (n, c.start_ms, c.end_ms) for n, c in enumerate(strict, 1)
    ]


def test_srt_looks_as_players_expect(tmp_path: Path) -> None:
    """Counter, comma before milliseconds, CRLF, a blank line between; no arrow and no tag from a text."""
    write_srt(
        [Cue(1.5, 3.25, "A <b>bold</b> nine\n--> foot {\\an8} 2 > 1 < 3"), Cue(3723.456, 3725, "ثمانية 🎱")],
        tmp_path / "a.srt",
    )
    raw = (tmp_path / "a.srt").read_bytes().decode("utf-8")
    assert raw == (
        "1\r\n00:00:01,500 --> 00:00:03,250\r\nA ‹b>bold‹/b> nine\r\n→ foot { \\an8} 2 > 1 < 3\r\n\r\n"
        f"2\r\n{SOURCES['examples']['srt']} --> 01:02:05,000\r\nثمانية 🎱\r\n\r\n"
    )


def test_vtt_text_is_escaped_and_comes_back() -> None:
    """The three characters that mean something in WebVTT, and a text that looks like timings."""
    text = "a < b && c > d\n00:01.000 --> 00:02.000"
    assert [c.text for c in read_vtt(vtt([(0, 1, text), (1, 2, " \n ")], note="made <here>").encode())] == [
        text
    ]


def test_no_cues_give_files_that_open(tmp_path: Path) -> None:
    """A lesson without a word."""
    caption_files.write(build_cuts(rack([])), tmp_path)
    assert read_vtt((tmp_path / "lesson.vtt").read_bytes()) == []
    assert len(pysrt.open(str(tmp_path / "lesson.srt"), encoding="utf-8")) == 0

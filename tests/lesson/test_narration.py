"""The talk over the lesson: every stretch on its piece, captions while their words are spoken, nothing cut off."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.errors import VoiceError
from lessonkit.footage.reader import open_footage
from lessonkit.lesson.cutlist import CutList, Draft
from lessonkit.lesson.cutting import draft_lesson, play_spans
from lessonkit.lesson.laying import lay_out
from lessonkit.lesson.narration import Take, narrated, takes_by_time
from lessonkit.lesson.settings import Pieces, Settings
from lessonkit.lesson.voice_files import FOOTAGE, find_talk
from lessonkit.model import Analysis, Shot
from lessonkit.sound.recording import levels
from lessonkit.sound.speech import Span, between, nearest_pause, speech, spoken_at
from tests.lesson import made
from tests.publish import filmed
from tests.sound import made_sound

RATE = Fraction(30)
LONG = (
    "Nine in the foot-left corner with a soft draw, left side. "
    "Leave the cue ball in the middle of the table, where the four is an easy shot. "
    "If it runs on, there is still the seven in the side."
)


def talked(a: Analysis, takes: list[Take], chosen: Settings | None = None) -> tuple[list[Draft], CutList]:
    """The lesson with the talk."""
    drafts = narrated(draft_lesson(a, chosen), takes)
    return drafts, lay_out(drafts, RATE, a.shots)


def heard(cuts: CutList) -> list[tuple[float, float]]:
    """Lesson times of all that is spoken."""
    return [(p.start_s + v.at_s, p.start_s + v.at_s + v.duration_s) for p in cuts.pieces for v in p.voice]


# --- where somebody speaks ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("level", [0.02, 0.2, 0.9])
def test_speech_is_found_where_it_was_put(tmp_path: Path, level: float) -> None:
    """Onset and end within a tenth of a second, soft or loud; clicks of balls are not speech."""
    spans = [(1.0, 3.0), (3.9, 6.5), (11.0, 12.5)]
    sound = made_sound.talk(spans, 14.0, level) + made_sound.clicks((8.0, 8.8), 14.0, 0.0)
    found = speech(levels(made_sound.write(tmp_path / "a.wav", sound)))
    assert [(s.start_s, s.end_s) for s in found] == [pytest.approx(s, abs=0.15) for s in spans]


def test_silence_is_no_speech(tmp_path: Path) -> None:
    """Nor is nothing."""
    assert speech(levels(made_sound.write(tmp_path / "a.wav", np.zeros(48000, np.float32)))) == ()
    assert speech(np.zeros(0, np.float32)) == ()


def test_a_note_begins_in_the_pause_near_its_time() -> None:
    """Not in the middle of a word."""
    spans = (Span(0.0, 4.4), Span(5.0, 9.0))
    assert nearest_pause(spans, 5.6, 1.5) == pytest.approx(4.7)
    assert nearest_pause(spans, 4.6, 1.5) == 4.6
    assert nearest_pause(spans, 7.0, 1.5) == 7.0


def test_captions_change_in_pauses() -> None:
    """Three texts, the second as long as the first and third together, with a pause before the third."""
    spans = (Span(10.0, 13.0), Span(14.0, 15.0))
    assert spoken_at([10, 20, 10], spans) == pytest.approx((10.0, 11.0, 14.0))


# --- one recording with the times of the notes ----------------------------------------------------------------------


def test_each_note_gets_its_own_talk() -> None:
    """From the pause at its time to the next note's; a note in silence is named."""
    shots = [made.shot(k + 1, 6.0 + 10 * k, 9.0 + 10 * k, LONG) for k in range(3)]
    shots = [replace(s, note=replace(s.note, t_s=5.0 + 10 * k)) for k, s in enumerate(shots) if s.note]
    a = made.analysis(*shots)
    spans = (Span(5.2, 9.0), Span(9.6, 13.0), Span(15.1, 19.0))
    found = takes_by_time("talk.wav", spans, a)
    assert [(t.shot, t.part, t.start_s, t.duration_s) for t in found.takes] == [
        (1, "plan", 5.2, pytest.approx(7.8)), (2, "plan", 15.1, pytest.approx(3.9)),
    ]  # fmt: skip
    assert len(found.warnings) == 1
    assert "0:25 in talk.wav" in found.warnings[0]


def test_talk_on_the_footage_is_not_heard_twice() -> None:
    """What is said while the play is shown stays there."""
    s = made.shot(1, 6.0, 9.0, LONG)
    a = made.analysis(replace(s, note=replace(s.note, t_s=2.0))) if s.note else made.analysis(s)
    plays = play_spans(a, Settings())
    found = takes_by_time("practice.mp4", (Span(2.1, 8.0), Span(9.0, 12.0)), a, plays)
    assert [(t.part, t.start_s, t.start_s + t.duration_s) for t in found.takes] == [
        ("plan", 2.1, plays[1][0])
    ]


# --- on the pieces --------------------------------------------------------------------------------------------------


def test_a_still_stands_until_its_talk_is_over() -> None:
    """And its captions come with the words."""
    a = made.analysis(made.shot(1, 5.0, 9.0, LONG))
    take = Take(1, "plan", "talk.wav", (Span(5.0, 19.0), Span(20.0, 25.0)), (LONG,))
    _, cuts = talked(a, [take])
    plan = next(p for p in cuts.pieces if p.kind == "plan")
    ((start, end),) = heard(cuts)
    assert end - start == pytest.approx(20.0)
    assert plan.start_s < start and end < plan.end_s < end + 1.0
    mine = [c for c in cuts.cues if plan.start_s <= c.start_s < plan.end_s]
    assert " ".join(" ".join(c.text.split()) for c in mine) == LONG
    assert mine[0].start_s - start == pytest.approx(0.0, abs=0.05)
    # The last caption's words begin after the pause at 20 s of the recording.
    assert mine[-1].start_s - start == pytest.approx(15.0, abs=1.5)


@pytest.mark.parametrize("length_s", [1.0, 4.0, 15.0])
def test_without_a_still_the_talk_is_over_the_play_and_runs_on(length_s: float) -> None:
    """All of it is heard, all of it is captioned, and the lesson is no shorter than it."""
    a = made.analysis(made.shot(1, 5.0, 9.0, LONG))
    chosen = Settings(pieces=Pieces(plan=False, result=False, table=False))
    take = Take(1, "plan", "talk.wav", (Span(0.5, 0.5 + length_s),), (LONG,))
    drafts, cuts = talked(a, [take], chosen)
    play = next(p for p in cuts.pieces if p.kind == "play")
    ((start, end),) = heard(cuts)
    assert play.start_s < start < play.start_s + 0.5
    assert end <= cuts.duration_s
    assert " ".join(" ".join(c.text.split()) for c in cuts.cues) == LONG
    assert drafts[-1].kind == ("result" if length_s > 1.0 or len(cuts.cues) > 1 else "play")


def test_a_sentence_nobody_says_is_read_before_the_remark() -> None:
    """The measured sentence has its time, then the talk begins."""
    s = made.shot(1, 5.0, 9.0, LONG)
    a = made.analysis(replace(s, more_notes=(made.note("I never looked at the four.", 10.0),)))
    _, cuts = talked(a, [Take(1, "result", "t.wav", (Span(1.0, 4.0),), ("I never looked at the four.",))])
    result = next(p for p in cuts.pieces if p.kind == "result")
    mine = [c for c in cuts.cues if c.start_s >= result.start_s and c.start_s < result.end_s]
    assert " ".join(mine[0].text.split()) == made.SENTENCE
    ((start, _),) = heard(cuts)
    assert mine[-1].text == "I never looked at the four."
    assert start >= mine[-2].end_s - 0.05


SPANS = st.lists(st.tuples(st.floats(0.1, 4.0), st.floats(0.2, 9.0)), min_size=1, max_size=5).map(
    lambda gaps: tuple(_laid(gaps))
)


def _laid(gaps: list[tuple[float, float]]) -> list[Span]:
    at, out = 0.0, []
    for gap, length in gaps:
        out.append(Span(at + gap, at + gap + length))
        at += gap + length
    return out


@settings(max_examples=150, deadline=None)
@given(
    st.text(alphabet="abc dé.,🎱\n漢ע", max_size=200), SPANS, SPANS, st.booleans(), st.booleans(), st.floats(0.3, 20.0)
)  # fmt: skip
def test_whatever_is_said_captions_are_within_the_limits(
    text: str, first: tuple[Span, ...], second: tuple[Span, ...], plan: bool, result: bool, play_s: float
) -> None:
    """Every cue long enough to read, none over another, no talk over another, all within the lesson."""
    s: Shot = made.shot(1, 5.0, 5.0 + play_s, text)
    a = made.analysis(
        replace(s, more_notes=(made.note(text, 5.0 + play_s + 1),)), made.shot(2, 50.0, 53.0, LONG)
    )
    takes = [
        Take(1, "plan", "a.wav", first, (text,)), Take(1, "result", "a.wav", second, (text,)),
        Take(2, "plan", "a.wav", first, ()),
    ]  # fmt: skip
    _, cuts = talked(a, takes, Settings(pieces=Pieces(plan=plan, result=result)))
    for c in cuts.cues:
        assert 5 / 6 <= round(c.end_s, 3) - round(c.start_s, 3) <= 7.001
        assert len(c.text) / (c.end_s - c.start_s) <= 17.0001
    assert all(a.end_s <= b.start_s + 1e-6 for a, b in pairwise(cuts.cues))
    spoken = heard(cuts)
    assert all(a[1] <= b[0] + 1e-6 for a, b in pairwise(spoken))
    assert all(end <= cuts.duration_s + 0.04 for _, end in spoken)
    assert all(c.end_s <= cuts.duration_s + 1e-6 for c in cuts.cues)


def test_between_cuts_spans_to_a_stretch() -> None:
    """What lies outside is dropped."""
    assert between((Span(0, 2), Span(3, 5)), 1.0, 4.0) == (Span(1.0, 2), Span(3, 4.0))


# --- what a person gives --------------------------------------------------------------------------------------------


@pytest.fixture
def clip(tmp_path: Path) -> tuple[Path, Analysis]:
    """The little clip with its analysis."""
    info, cam = filmed.film(tmp_path / "clip.mp4", filmed.Clip())
    return tmp_path / "clip.mp4", filmed.analysis(info, cam)


def test_a_folder_has_a_file_for_each_shot(tmp_path: Path, clip: tuple[Path, Analysis]) -> None:
    """Told by the number in its name; what is no sound is passed over."""
    folder = tmp_path / "talk"
    folder.mkdir()
    made_sound.write(folder / "Shot 1.wav", made_sound.talk([(0.5, 2.0)], 3.0))
    made_sound.write(folder / "01-after.wav", made_sound.talk([(0.2, 1.0)], 2.0))
    (folder / "notes 1.txt").write_text("not sound")
    with open_footage(clip[0]) as footage:
        found = find_talk(folder, footage, clip[1], {})
    assert {(t.shot, t.part) for t in found.takes} == {(1, "plan"), (1, "result")}
    assert next(t for t in found.takes if t.part == "plan").start_s == pytest.approx(0.5, abs=0.15)


@pytest.mark.parametrize(("name", "says"), [
    ("shot-07.wav", "is for shot 7, but the lesson has 1 shot"), ("one.wav", "named for a shot"),
])  # fmt: skip
def test_a_folder_that_does_not_fit_is_refused(
    tmp_path: Path, clip: tuple[Path, Analysis], name: str, says: str
) -> None:
    """In one sentence that names the file or folder."""
    folder = tmp_path / "talk"
    folder.mkdir()
    made_sound.write(folder / name, made_sound.talk([(0.5, 2.0)], 3.0))
    with open_footage(clip[0]) as footage, pytest.raises(VoiceError, match=says):
        find_talk(folder, footage, clip[1], {})


def test_what_cannot_be_the_talk_is_refused(tmp_path: Path, clip: tuple[Path, Analysis]) -> None:
    """No file, no sound, nobody speaking."""
    silent = made_sound.write(tmp_path / "silent.wav", np.zeros(96000, np.float32))
    with open_footage(clip[0]) as footage:
        for voice, says in ((tmp_path / "no.wav", "no file"), (silent, "Nobody is heard")):
            with pytest.raises(VoiceError, match=says):
                find_talk(voice, footage, clip[1], {})
    filmed.film(tmp_path / "mute.mp4", filmed.Clip(sound=False))
    with open_footage(tmp_path / "mute.mp4") as footage, pytest.raises(VoiceError, match="has no sound"):
        find_talk(FOOTAGE, footage, clip[1], {})

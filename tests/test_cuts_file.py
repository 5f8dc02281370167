"""cuts.toml: written and read back alike, changes by hand kept, nonsense refused with its piece named."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit import cuts_file
from lessonkit.errors import FolderError, SettingsError
from lessonkit.lesson.cutlist import CutList, Draft, Voice, output_rate
from lessonkit.lesson.cutting import draft_lesson
from lessonkit.lesson.laying import lay_out
from lessonkit.lesson.settings import Durations, Pieces, Settings, Speeds
from lessonkit.model import Analysis
from tests.lesson.made import rack

TEXT = "0:04 The nine goes in the foot-left corner. Draw, firm, left side for the four."


def laid(drafts: list[Draft], a: Analysis) -> CutList:
    """In place."""
    return lay_out(drafts, output_rate(a.footage), a.shots)


def write(folder: Path, a: Analysis, how: Settings | None = None) -> list[Draft]:
    """The list of a lesson, written; returns what was meant."""
    drafts = draft_lesson(a, how)
    cuts_file.write_cuts(folder, drafts, laid(drafts, a))
    return drafts


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.one_of(st.none(), st.text(max_size=120)), min_size=1, max_size=4),
    st.sampled_from([24.0, 29.97, 30.0, 59.94]),
    st.floats(0.1, 1.0), st.floats(1.0, 8.0), st.sampled_from([0.0, 4.0, 16.0]), st.floats(0.5, 20.0),
)  # fmt: skip
def test_what_is_read_back_gives_the_same_lesson(
    texts: list[str | None], fps: float, slow: float, fast: float, dead: float, still_s: float,
) -> None:  # fmt: skip
    """Any notes, rates and settings: pieces and captions within a frame, without gaps, in whole frames."""
    a = rack(list(texts), fps)
    how = Settings(
        pieces=Pieces(replay="all"), speeds=Speeds(replay=slow, roll=fast, dead_time=dead),
        durations=Durations(still_s=still_s, long_roll_s=1.0),
    )  # fmt: skip
    drafts = draft_lesson(a, how)
    meant = laid(drafts, a)
    text = cuts_file.text_of(drafts, cuts_file.starts(drafts, meant))
    import tempfile

    with tempfile.TemporaryDirectory() as home:
        path = Path(home) / cuts_file.NAME
        path.write_text(text, encoding="utf-8")
        got = laid(cuts_file.read_cuts(path, a), a)
    frame = 1 / float(output_rate(a.footage))
    assert [p.kind for p in got.pieces] == [p.kind for p in meant.pieces]
    for p, q in zip(got.pieces, meant.pieces, strict=True):
        assert abs(p.duration_s - q.duration_s) <= frame + 1e-9
        assert p.say == q.say
        assert p.steps is None or [s.what for s in p.steps] == [s.what for s in q.steps or ()]
    assert [c.text for c in got.cues] == [c.text for c in meant.cues]
    rate = Fraction(output_rate(a.footage))
    assert all(abs(p.duration_s * rate - round(p.duration_s * rate)) < 1e-6 for p in got.pieces)
    assert all(abs(p.end_s - q.start_s) < 1e-9 for p, q in pairwise(got.pieces))
    assert sum(p.duration_s for p in got.pieces) == pytest.approx(got.duration_s, abs=1e-6)


def test_voice_and_captions_of_ones_own_come_back(tmp_path: Path) -> None:
    """All that a draft can hold."""
    (tmp_path / "talk.wav").write_bytes(b"x")
    a = rack([TEXT])
    full = Draft(
        "plan", 1, 3.0, lasts_s=6.5, say="One.\nTwo — 🎱.", say_at_s=0.5, captions=("One.", "Two\nlines"),
        captions_at_s=(0.5, 2.0), voice=(Voice("talk.wav", 1.0, 2.5, 0.25),), headline="Over it",
    )  # fmt: skip
    cuts_file.write_cuts(tmp_path, [full], laid([full], a))
    assert cuts_file.read_cuts(tmp_path / cuts_file.NAME, a) == [full]


def test_a_list_changed_by_hand_is_known_and_kept(tmp_path: Path) -> None:
    """Ours may be written again; one changed may not."""
    a = rack([TEXT])
    assert not cuts_file.edited(tmp_path)
    write(tmp_path, a)
    write(tmp_path, rack([TEXT, None]))
    path = tmp_path / cuts_file.NAME
    changed = path.read_text(encoding="utf-8").replace("lasts_s = 4.0", "lasts_s = 2.0")
    path.write_text(changed, encoding="utf-8")
    assert cuts_file.edited(tmp_path)
    with pytest.raises(FolderError, match="changed by hand"):
        write(tmp_path, a)
    assert path.read_text(encoding="utf-8") == changed


def test_changed_words_make_the_still_as_long_as_they_need(tmp_path: Path) -> None:
    """A person need not reckon."""
    a = rack([TEXT])
    drafts = [replace(d, say=d.say * 3) if d.kind == "plan" else d for d in draft_lesson(a)]
    before, after = laid(draft_lesson(a), a), laid(drafts, a)
    assert after.pieces[1].duration_s > 2 * before.pieces[1].duration_s
    assert after.cues[-1].end_s <= after.duration_s + 1e-9


ONE = 'kind = "plan"\nshot = 1\nfrom_s = 3.0\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[[piece]]\nkind = plan\n", "damaged: .*line 2"),
        ("", "no piece"),
        ("schema = 9\n[[piece]]\n" + ONE, "schema 9"),
        ("rate = 30\n[[piece]]\n" + ONE, "rate is not known"),
        ("[[piece]]\nkind = 'plans'", "piece 1 needs a kind"),
        ("[[piece]]\n" + ONE + "[[piece]]\nkind = 'play'\nshot = 9\nfrom_s = 1\nto_s = 2", "piece 2 .play of shot 9.: shot must be"),
        ("[[piece]]\n" + ONE + "sya = 'x'", "did you mean say"),
        ("[[piece]]\n" + ONE + "to_s = 4", "to_s belongs to play"),
        ("[[piece]]\n" + ONE + "speed = 2", "speed belongs to"),
        ("[[piece]]\n" + ONE + "lasts_s = -1", "from 0 to 600"),
        ("[[piece]]\n" + ONE + "draw = { aims = 0.1 }", "draw has no aims"),
        ("[[piece]]\n" + ONE + "draw = { aim = 1.5 }", "from 0 to 1"),
        ("[[piece]]\n" + ONE + "captions = 'x'", "list of texts"),
        ("[[piece]]\n" + ONE + "captions_at_s = [2, 1]", "ascend"),
        ("[[piece]]\n" + ONE + "voice = { file = 'no.wav', from_s = 0, to_s = 1 }", "not there"),
        ("[[piece]]\nkind = 'play'\nshot = 1\nfrom_s = 5\nto_s = 4", "later than from_s"),
        ("[[piece]]\nkind = 'play'\nshot = 1\nfrom_s = 5", "to_s is missing"),
        ("[[piece]]\nkind = 'play'\nshot = 1\nfrom_s = 5\nto_s = 500", "from 0 to 15"),
        ("[[piece]]\nkind = 'play'\nshot = 1\nfrom_s = 5\nto_s = 6\nspeed = 0", "from 0.1"),
        ("[[piece]]\nkind = 'clip'\nfile = 'no.mp4'", "not there"),
        ("[[piece]]\nkind = 'skip'\nfrom_s = 0\nto_s = 2\nspeed = 0", "nothing is shown"),
    ],
)  # fmt: skip
def test_nonsense_is_refused_in_one_sentence(tmp_path: Path, text: str, says: str) -> None:
    """It names the file and the piece, and the file stays as it was."""
    path = tmp_path / cuts_file.NAME
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError, match=says) as told:
        cuts_file.read_cuts(path, rack([TEXT]))
    assert "cuts.toml" in str(told.value)
    assert "\n" not in str(told.value)
    assert path.read_text(encoding="utf-8") == text

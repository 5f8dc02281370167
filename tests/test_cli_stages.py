"""The way through the house: what is kept between runs, what a person is told."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lessonkit import publishing, stages
from lessonkit.analysis_file import read_analysis, to_json, write_analysis
from lessonkit.errors import FolderError
from lessonkit.folder import MARK
from lessonkit.footage.reader import probe
from lessonkit.model import Camera, Footage, Head, Seen, SeenShot, Table
from lessonkit.progress import Bar, Lines, Talk
from lessonkit.stage_file import SEEN, footage_key
from tests.running import SAMPLE


def seen_of(truth: dict[str, Any]) -> Seen:
    """The sample's first two shots as a perfect watcher would tell them; the second with a doubtful ball."""
    camera = Camera(
        np.diag([1400.0, 1400.0, 1.0]), np.zeros(4), np.array([3.0, 0, 0]), np.array([0, 0, 2600.0]), 0.3
    )
    shots = tuple(
        SeenShot(
            i + 1,
            s["strike_s"],
            s["rest_s"],
            {int(n): (p[0], p[1]) for n, p in s["layout_before"].items()},
            {int(n): (p[0], p[1]) for n, p in s["layout_after"].items()},
            (0, 9) if i else (),
            np.array(s["cue_path"]),
            {},
            (),
            (),
            s["fullness"],
        )
        for i, s in enumerate(truth["shots"][:2])
    )
    return Seen(
        Footage("club-night.mp4", 1920, 1080, 30.0, 1905, 63.5), Table("9ft", 2540, 1270), camera, shots
    )


@pytest.fixture
def watched(monkeypatch: pytest.MonkeyPatch, sample_truth: dict[str, Any]) -> list[dict[str, Any]]:
    """Puts a quick watcher in the place of the slow one; the list gets the options of each call."""
    calls: list[dict[str, Any]] = []

    def watch(path: Path, **options: Any) -> Seen:
        calls.append(options)
        options["progress"](0.5)
        return seen_of(sample_truth)

    monkeypatch.setattr("lessonkit.seeing.watch.watch", watch)
    return calls


@pytest.fixture
def job(tmp_path: Path) -> stages.Job:
    """The sample without notes, its footage linked so that a test may change its age."""
    footage = tmp_path / "clip.mp4"
    footage.write_bytes((SAMPLE / "club-night.mp4").read_bytes())
    return stages.Job(footage, tmp_path / "lesson")


def test_footage_is_watched_once(job: stages.Job, watched: list[Any], sample_notes: Path) -> None:
    """A second run, with notes now, uses what the first saw, to the same digits."""
    job = replace(job, table="9ft")
    first = stages.analyse(job, Talk())
    second = stages.analyse(replace(job, notes=sample_notes), Talk())
    assert len(watched) == 1
    assert [s.note is None for s in first.analysis.shots] == [True, True]
    assert [s.note.text[:8] for s in second.analysis.shots if s.note] == ["One ball", "Fourteen"]
    seen = [("strike_s", "layout_before", "cue_path")] * 2
    a, b = to_json(first.analysis)["shots"], to_json(second.analysis)["shots"]
    assert [[x[k] for k in ks] for x, ks in zip(a, seen, strict=True)] == [
        [x[k] for k in ks] for x, ks in zip(b, seen, strict=True)
    ]


def test_analysis_json_is_what_analyse_returned(job: stages.Job, watched: list[Any]) -> None:
    """The file holds the returned analysis."""
    result = stages.analyse(job, Talk())
    assert to_json(read_analysis(job.out / stages.ANALYSIS)) == to_json(result.analysis)


@pytest.mark.parametrize("change", ["head", "table", "corners", "footage", "stage file"])
def test_what_it_depends_on_watches_again(job: stages.Job, watched: list[Any], change: str) -> None:
    """Another option, changed footage or a damaged stage file means watching again."""
    stages.analyse(job, Talk())
    if change == "footage":
        os.utime(job.footage, (1, 1))
    elif change == "stage file":
        (job.out / SEEN).write_text((job.out / SEEN).read_text()[:-40])
    other: dict[str, Any] = {"head": "right", "table": "8ft", "corners": ((0, 0), (9, 0), (9, 5), (0, 5))}
    stages.analyse(replace(job, **{change: other[change]}) if change in other else job, Talk())
    assert len(watched) == 2


def test_another_film_does_not_replace_what_a_folder_holds(job: stages.Job, watched: list[Any]) -> None:
    """Refused before any work, nothing touched; the same film under another name is welcome."""
    stages.analyse(job, Talk())
    before = {p.name: p.read_bytes() for p in job.out.iterdir()}
    other = job.footage.with_name("other.mp4")
    # a free box at the end of the file is passed over by every reader (ISO/IEC 14496-12, 8.1.2): the same pictures
    other.write_bytes(job.footage.read_bytes() + b"\0\0\0\x09free!")
    with pytest.raises(FolderError, match=r"another film \(club-night.mp4\).*another folder"):
        stages.analyse(replace(job, footage=other), Talk())
    assert {p.name: p.read_bytes() for p in job.out.iterdir()} == before and len(watched) == 1
    renamed = job.footage.rename(job.footage.with_name("renamed.mp4"))
    stages.analyse(replace(job, footage=renamed), Talk())


def test_another_film_replaces_it_when_asked_to(job: stages.Job, watched: list[Any]) -> None:
    """What lessonkit wrote goes, whatever a person put there stays."""
    stages.analyse(job, Talk())
    (job.out / "stills").mkdir()
    for name in (
        "stills/shot-01-plan.png",
        "stills/mine.png",
        "lesson.toml",
        "lesson.mp4",
        "draft.mp4",
        "cuts.toml",
    ):
        (job.out / name).write_bytes(b"x")
    other = job.footage.with_name("other.mp4")
    other.write_bytes(job.footage.read_bytes() + b"\0\0\0\x09free!")
    stages.analyse(replace(job, footage=other, replace=True), Talk())
    assert len(watched) == 2
    left = {p.relative_to(job.out).as_posix() for p in job.out.rglob("*") if p.is_file()}
    assert {"stills/mine.png", "lesson.toml", "analysis.json"} <= left
    assert not left & {"stills/shot-01-plan.png", "lesson.mp4", "draft.mp4", "cuts.toml"}
    stages.analyse(replace(job, footage=other), Talk())  # from now on the folder is this film's


def test_a_folder_of_somebody_else_is_not_cleared(job: stages.Job, watched: list[Any]) -> None:
    """Without lessonkit's mark nothing goes, asked or not."""
    stages.analyse(job, Talk())
    other = job.footage.with_name("other.mp4")
    other.write_bytes(job.footage.read_bytes() + b"\0\0\0\x09free!")
    (job.out / MARK).unlink()
    (job.out / "analysis.json").write_text("{}")
    with pytest.raises(FolderError, match="did not make"):
        stages.analyse(replace(job, footage=other, replace=True), Talk())
    assert (job.out / "analysis.json").read_text() == "{}"


def test_a_folder_that_does_not_remember_its_film_is_told_by_its_analysis(
    job: stages.Job, watched: list[Any]
) -> None:
    """As those are that were made before: size, length and count of pictures stand in analysis.json."""
    result = stages.analyse(job, Talk())
    (job.out / MARK).write_text("{}")
    film = replace(result.analysis, footage=probe(job.footage))
    write_analysis(job.out / stages.ANALYSIS, film)
    stages.analyse(job, Talk())
    (job.out / MARK).write_text("{}")
    write_analysis(job.out / stages.ANALYSIS, replace(film, footage=replace(film.footage, frames=7)))
    with pytest.raises(FolderError, match="another film"):
        stages.analyse(job, Talk())


def test_a_killed_run_starts_clean(job: stages.Job, watched: list[Any]) -> None:
    """Half-made files of a killed run are no hindrance and are never taken for whole ones."""
    job.out.mkdir()
    (job.out / ".lessonkit.json").write_text("{}")
    (job.out / ".analysis.part.json").write_text('{"half')
    (job.out / ".seen.part.json").write_text('{"key": "')
    stages.analyse(job, Talk())
    assert read_analysis(job.out / stages.ANALYSIS).shots and len(watched) == 1


def test_the_content_tells_footage_apart(tmp_path: Path) -> None:
    """Two files of one size and age with different content have different keys."""
    a, b = tmp_path / "a.mp4", tmp_path / "b.mp4"
    a.write_bytes(b"a" * 5000)
    b.write_bytes(b"b" * 5000)
    os.utime(a, (1, 1))
    os.utime(b, (1, 1))
    assert footage_key(a, {}) != footage_key(b, {})
    assert footage_key(a, {}) == footage_key(a, {}) != footage_key(a, {"head": "left"})


def test_the_notes_state_the_table(job: stages.Job, watched: list[Any], tmp_path: Path) -> None:
    """The notes' own table line is used where --table is left to be found out, and --table goes before it."""
    notes = tmp_path / "page.txt"
    notes.write_text("Table: 8 ft\n\n0:05 One in the foot-right corner.\n")
    stages.analyse(replace(job, notes=notes), Talk())
    stages.analyse(replace(job, notes=notes, table="9ft"), Talk())
    assert [c["table"] for c in watched] == ["8ft", "9ft"]
    assert stages._table_size("auto", Head(table="the one by the window")) == "auto"


def test_a_note_of_no_shot_is_told(job: stages.Job, watched: list[Any], sample_notes: Path) -> None:
    """Notes that belong to no seen shot are named with time and line, on standard error."""
    result = stages.analyse(replace(job, notes=sample_notes), Talk())
    told = " ".join(result.warnings)
    assert "0:47 (line 11" in told and "0:56 (line 12" in told and "0:05" not in told


def test_doubtful_balls_are_named(job: stages.Job, watched: list[Any]) -> None:
    """Each shot with balls to check gets a line."""
    lines = stages.doubts(stages.analyse(job, Talk()).analysis)
    assert lines == ("Check shot 2: number or place of the cue ball, the 9 is doubtful.",)


def test_without_a_terminal_progress_is_plain_lines(capsys: pytest.CaptureFixture[str]) -> None:
    """One plain line a step on standard error, nothing on standard output."""
    talk = Lines()
    with talk.step("Watching the footage") as report:
        report(0.5)
    assert capsys.readouterr() == ("", "Watching the footage ...\n")


def test_on_a_terminal_a_bar_shows_the_share_done(capsys: pytest.CaptureFixture[str]) -> None:
    """The bar names the step and ends at 100 %, on standard error only, whatever share was reported."""
    with Bar().step("Watching the footage") as report:
        for share in (-0.1, 0.5, 1.7):
            report(share)
    out, err = capsys.readouterr()
    assert out == "" and "Watching the footage" in err and "100%" in err


def test_old_stills_go_and_other_pictures_stay(tmp_path: Path) -> None:
    """Stills of shots that are no longer found are removed; nothing else is."""
    names = ["shot-01-plan.png", "shot-07-plan.png", "shot-07-result.png", "shot-mine.png", "cover.png"]
    for name in names:
        (tmp_path / name).touch()
    publishing._drop_old(tmp_path, publishing._STILL, [tmp_path / "shot-01-plan.png"])
    assert sorted(p.name for p in tmp_path.iterdir()) == ["cover.png", "shot-01-plan.png", "shot-mine.png"]


@pytest.mark.parametrize(
    ("t_s", "shown"), [(0, "0:00"), (65.9, "1:05"), (3600, "1:00:00"), (7384.2, "2:03:04")]
)
def test_clock(t_s: float, shown: str) -> None:
    """Times as people write them."""
    assert stages.clock(t_s) == shown

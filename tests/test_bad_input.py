"""Input that cannot become a lesson: one clear sentence, a status of 1, no traceback, nobody's files harmed."""

from __future__ import annotations

import errno
import resource
from collections.abc import Callable
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from lessonkit import folder
from lessonkit.errors import FolderError
from tests.running import script


def write_clip(path: Path, seconds: float, *, picture: bool = True, sound: bool = False) -> Path:
    """A small file with a plain grey picture that drifts in brightness, and/or a hum."""
    with av.open(str(path), "w") as out:
        if picture:
            stream = out.add_stream("libx264", rate=10)
            stream.width, stream.height, stream.pix_fmt = 320, 180, "yuv420p"
            for i in range(round(seconds * 10)):
                frame = av.VideoFrame.from_ndarray(
                    np.full((180, 320, 3), 90 + i % 60, np.uint8), format="rgb24"
                )
                out.mux(stream.encode(frame))
            out.mux(stream.encode())
        if sound:
            stream = out.add_stream("aac", rate=48000)
            hum = np.sin(np.arange(round(48000 * seconds)) / 50).astype(np.float32)[None]
            frame = av.AudioFrame.from_ndarray(hum, format="fltp", layout="mono")
            frame.sample_rate, frame.pts = 48000, 0
            out.mux(stream.encode(frame))
            out.mux(stream.encode())
    return path


def _missing(tmp: Path, _: Path) -> Path:
    return tmp / "no-such.mp4"


def _empty(tmp: Path, _: Path) -> Path:
    (tmp / "empty.mp4").touch()
    return tmp / "empty.mp4"


def _cut_in_two(tmp: Path, sample: Path) -> Path:
    """The first half of a whole file: with the index in front, it opens well and only ends too early."""
    whole = sample.read_bytes()
    (tmp / "cut.mp4").write_bytes(whole[: len(whole) // 2])
    return tmp / "cut.mp4"


def _index_lost(tmp: Path, _: Path) -> Path:
    """A file whose index, at its end, never arrived: it does not open at all."""
    whole = write_clip(tmp / "made.mp4", 3).read_bytes()
    (tmp / "lost.mp4").write_bytes(whole[: len(whole) // 2])
    return tmp / "lost.mp4"


def _sound_only(tmp: Path, _: Path) -> Path:
    return write_clip(tmp / "sound.mp4", 2, picture=False, sound=True)


def _not_a_video(tmp: Path, _: Path) -> Path:
    (tmp / "words.mp4").write_text("These are words, not pictures. " * 200)
    return tmp / "words.mp4"


def _folder(tmp: Path, _: Path) -> Path:
    (tmp / "clips").mkdir()
    return tmp / "clips"


FOOTAGE: list[tuple[Callable[[Path, Path], Path], str]] = [
    (_missing, "no file"),
    (_empty, "empty"),
    (_cut_in_two, "cut short"),
    (_index_lost, "cut short"),
    (_sound_only, "no picture"),
    (_not_a_video, "cannot be read"),
    (_folder, "folder"),
]


@pytest.mark.parametrize(("kind", "says"), FOOTAGE, ids=[k.__name__.strip("_") for k, _ in FOOTAGE])
@pytest.mark.parametrize("verb", ["analyse", "make"])
def test_bad_footage(
    command: Any, tmp_path: Path, sample_footage: Path, sample_notes: Path, verb: str, kind: Any, says: str
) -> None:
    """Footage that cannot be read is named, with what to do, before a folder is made."""
    footage = kind(tmp_path, sample_footage)
    done = command(verb, footage, "--notes", sample_notes, "--out", tmp_path / "lesson")
    assert done.status == 1 and done.is_one_sentence(), done.err
    assert str(footage) in done.err and says in done.err
    assert not (tmp_path / "lesson").exists()


def test_footage_without_a_table(command: Any, tmp_path: Path) -> None:
    """A picture in which no table can be found says so and names a way out."""
    footage = write_clip(tmp_path / "wall.mp4", 3)
    done = command("analyse", footage, "--out", tmp_path / "lesson")
    assert done.status == 1 and done.is_one_sentence(), done.err
    assert "--corners" in done.err
    assert not (tmp_path / "lesson" / "analysis.json").exists()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("Nine in the corner, soft.\n", "time"),
        ("0:05 One in the foot-right.\n1:04:00 Two in the side.\n", "line 2"),
        ("0:26 Two in the head-right.\n0:05 One in the foot-right.\n", "line 2"),
        ("", "note"),
    ],
    ids=["no time", "past the end", "out of order", "empty"],
)
def test_bad_notes(command: Any, tmp_path: Path, sample_footage: Path, text: str, says: str) -> None:
    """Notes that cannot be used are refused before the footage is watched, naming file and line."""
    notes = tmp_path / "page.txt"
    notes.write_text(text)
    done = command("make", sample_footage, "--notes", notes, "--out", tmp_path / "lesson")
    assert done.status == 1 and done.is_one_sentence(), done.err
    assert notes.name in done.err and says in done.err
    assert notes.read_text() == text and not (tmp_path / "lesson").exists()


def test_missing_notes(command: Any, tmp_path: Path, sample_footage: Path) -> None:
    """A page of notes that is not there is named."""
    done = command("make", sample_footage, "--notes", tmp_path / "none.txt", "--out", tmp_path / "lesson")
    assert done.status == 1 and done.is_one_sentence() and str(tmp_path / "none.txt") in done.err


@pytest.mark.parametrize("verb", ["analyse", "make"])
def test_a_folder_with_other_files_is_left_alone(
    command: Any, tmp_path: Path, sample_footage: Path, sample_notes: Path, verb: str
) -> None:
    """A folder that holds a person's own files is refused, and they stay as they were."""
    out = tmp_path / "mine"
    out.mkdir()
    (out / "analysis.json").write_text("my own")
    done = command(verb, sample_footage, "--notes", sample_notes, "--out", out)
    assert done.status == 1 and done.is_one_sentence() and str(out) in done.err
    assert [(p.name, p.read_text()) for p in out.iterdir()] == [("analysis.json", "my own")]


def test_a_file_for_a_folder(command: Any, tmp_path: Path, sample_footage: Path) -> None:
    """--out on a file, or under one, is refused; the file stays."""
    taken = tmp_path / "taken"
    taken.write_text("mine")
    for out in (taken, taken / "lesson"):
        done = command("analyse", sample_footage, "--out", out)
        assert done.status == 1 and done.is_one_sentence() and str(out) in done.err
    assert taken.read_text() == "mine"


def test_a_folder_that_nobody_may_write(command: Any, sample_footage: Path) -> None:
    """A place where not even root can make a folder is refused."""
    done = command("analyse", sample_footage, "--out", "/proc/lesson")
    assert done.status == 1 and done.is_one_sentence() and "/proc/lesson" in done.err


def test_footage_is_never_overwritten(command: Any, tmp_path: Path, sample_notes: Path) -> None:
    """Footage that lies where the lesson would be written is refused, and stays."""
    out = folder.open_folder(tmp_path / "lesson")
    footage = write_clip(out / "lesson.mp4", 60)
    before = footage.read_bytes()
    done = command("make", footage, "--notes", sample_notes, "--out", out)
    assert done.status == 1 and done.is_one_sentence() and "overwritten" in done.err
    assert footage.read_bytes() == before


def test_a_full_disk_leaves_the_earlier_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the disk fills up, the sentence says so and the file of the run before is still whole."""
    path = tmp_path / "shots.csv"
    folder.write_text(path, "before")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("lessonkit.folder.os.fsync", full)
    with pytest.raises(FolderError, match=r"No space left on device.*free some space"):
        folder.write_text(path, "after")
    assert path.read_text() == "before" and [p.name for p in tmp_path.iterdir()] == ["shots.csv"]


def _no_more_than(size: int) -> Callable[[], None]:
    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))

    return limit


def test_the_command_says_that_no_more_can_be_written(tmp_path: Path, sample_footage: Path) -> None:
    """The installed command, when the system refuses to write a byte more, ends with one sentence."""
    done = script("analyse", sample_footage, "--out", tmp_path / "lesson", preexec_fn=_no_more_than(10))
    assert done.status == 1 and done.is_one_sentence(), done.err
    assert "cannot be written" in done.err or "could not be written" in done.err
    assert not list((tmp_path / "lesson").glob("*.json"))


def test_the_reader_gets_a_damaged_stage_file(tmp_path: Path) -> None:
    """A damaged stage file counts as none."""
    from lessonkit.stage_file import SEEN, kept_seen

    assert kept_seen(tmp_path, "key") is None
    for text in ("", "{", "[]", '{"key": "key"}', '{"key": "key", "seen": {"table": {}}}'):
        (tmp_path / SEEN).write_text(text)
        assert kept_seen(tmp_path, "key") is None

"""The lesson's sound against independent meters, and clicks against the picture's times."""

from __future__ import annotations

import re
import shutil
import subprocess
import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pyloudnorm
import pytest
from numpy.typing import NDArray

from lessonkit.footage.reader import open_footage
from lessonkit.lesson.cutlist import CutList, Piece, Voice
from lessonkit.publish.sound import Level, prepare
from tests.publish import filmed
from tests.running import ROOT
from tests.sound import made_sound

SOURCES: dict[str, Any] = tomllib.loads((ROOT / "shared" / "sound.toml").read_text(encoding="utf-8"))
TALK_S = 12.0
PLAY_AT_S, PLAY_FROM_S = 14.0, 1.0
CLICK_AT_S = PLAY_AT_S + filmed.STRIKE_S - PLAY_FROM_S
REPLAY_AT_S = 17.0
REPLAY_CLICK_S = REPLAY_AT_S + (filmed.STRIKE_S - PLAY_FROM_S) / 0.5


def cut_list(*, over_play: bool = False, voice: bool = True) -> CutList:
    """Title, a still with twelve seconds of talk, the play, the play at half speed, a still with three more seconds."""
    talk = (Voice("talk.wav", 0.5, 0.5 + TALK_S, 0.3),) if voice and not over_play else ()
    over = (Voice("talk.wav", 0.5, 3.0, 0.1),) if over_play else ()
    after = (Voice("talk.wav", 2.0, 5.0, 0.3),) if voice else ()
    return CutList(
        (
            Piece("title", 0.0, 1.0),
            Piece("plan", 1.0, 13.0, 1, 1.0, voice=talk),
            Piece("play", 14.0, 3.0, 1, PLAY_FROM_S, 4.0, voice=over),
            Piece("replay", 17.0, 3.0, 1, PLAY_FROM_S, 2.5, 0.5),
            Piece("result", 20.0, 4.0, 1, 3.5, voice=after),
        ), (), (),
    )  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The little clip, and a recording of somebody talking in sentences."""
    path = tmp_path_factory.mktemp("sound")
    filmed.film(path / "clip.mp4", filmed.Clip())
    spans = [(0.5 + 1.5 * k, 1.8 + 1.5 * k) for k in range(8)]
    made_sound.write(path / "talk.wav", made_sound.talk(spans, 13.0, 0.05))
    return path


def track_of(folder: Path, cuts: CutList, level: Level | None = None) -> tuple[NDArray[np.float32], Any]:
    """All samples, and what `prepare` said."""
    with open_footage(folder / "clip.mp4") as footage:
        track = prepare(footage, cuts, folder, level)
        parts = list(track.parts())
    assert max(map(len, parts)) <= 96000
    return np.concatenate(parts), track


def as_published(samples: NDArray[np.float32], path: Path) -> Path:
    """Encoded as the lesson's sound is."""
    with av.open(str(path), "w", format="mp4") as container:
        stream = container.add_stream("aac", rate=48000, layout="stereo", bit_rate=160_000)
        for at in range(0, len(samples), 48000):
            part = np.ascontiguousarray(samples[at : at + 48000].T)
            frame = av.AudioFrame.from_ndarray(part, format="fltp", layout="stereo")
            frame.sample_rate, frame.pts, frame.time_base = 48000, at, Fraction(1, 48000)
            for packet in stream.encode(frame):
                container.mux(packet)
        for packet in stream.encode(None):
            container.mux(packet)
    return path


def ebur128(path: Path) -> tuple[float, float]:
    """Integrated loudness and true peak of a file by FFmpeg's program."""
    ffmpeg = shutil.which("ffmpeg")
    if ffmpeg is None:
        import imageio_ffmpeg

        ffmpeg = imageio_ffmpeg.get_ffmpeg_exe()
    done = subprocess.run(
        [ffmpeg, "-hide_banner", "-nostats", "-i", str(path), "-vn", "-af", "ebur128=peak=true", "-f", "null", "-"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    summary = done.stderr[done.stderr.rindex("Summary:") :]
    loud, peak = re.search(r"I:\s+(\S+) LUFS", summary), re.search(r"Peak:\s+(\S+) dBFS", summary)
    assert loud and peak
    return float(loud[1]), float(peak[1])


@pytest.mark.parametrize("wanted", [SOURCES["loudness"]["web_target_lufs"], -20.0, -23.0])
def test_loudness_and_peak_as_published(folder: Path, tmp_path: Path, wanted: float) -> None:
    """Within 0.5 LU by pyloudnorm and by FFmpeg's ebur128; true peak of the encoded sound at most -1 dBTP."""
    samples, track = track_of(folder, cut_list(), Level(lufs=wanted))
    assert pyloudnorm.Meter(48000).integrated_loudness(samples) == pytest.approx(wanted, abs=0.5)
    assert track.lufs == pytest.approx(wanted, abs=0.5)
    loud, peak = ebur128(as_published(samples, tmp_path / "sound.mp4"))
    assert loud == pytest.approx(wanted, abs=0.5)
    assert peak <= SOURCES["loudness"]["max_true_peak_dbtp"]


def test_every_sound_is_at_its_place(folder: Path) -> None:
    """As long as the pictures; clicks of play and slow replay and first words within 20 ms of where they belong."""
    samples, _ = track_of(folder, cut_list())
    assert len(samples) == 24 * 48000
    late = SOURCES["sync"]["ours_s"]
    for at in (CLICK_AT_S, REPLAY_CLICK_S):
        near = samples[round((at - 0.4) * 48000) : round((at + 0.4) * 48000)]
        onset = int(np.argmax(np.abs(near).max(axis=1) > 0.5 * np.abs(near).max())) / 48000 - 0.4
        assert abs(onset) <= late
    for at in (1.3, 20.3):
        near = np.abs(samples[round((at - 0.2) * 48000) : round((at + 0.5) * 48000)]).max(axis=1)
        onset = int(np.argmax(near > 0.15 * near.max())) / 48000 - 0.2
        assert abs(onset) <= late + 0.02  # the made-up voice swells


def test_clicks_are_heard_under_the_voice(folder: Path) -> None:
    """The click stands 3 dB and more out of talk laid over the play; turned down like the hum it would be softer than it."""
    talked, _ = track_of(folder, cut_list(over_play=True))
    click = slice(round((CLICK_AT_S - 0.005) * 48000), round((CLICK_AT_S + 0.02) * 48000))
    before = slice(round((CLICK_AT_S - 0.3) * 48000), round((CLICK_AT_S - 0.01) * 48000))
    # Above 6 kHz there is no voice to speak of, and the click is as strong as below.
    from scipy.signal import butter, sosfilt

    high = sosfilt(butter(6, 6000, "high", fs=48000, output="sos"), talked[:, 0])
    assert 20 * np.log10(np.abs(high[click]).max() / np.abs(high[before]).max()) >= 3.0


def test_play_alone_is_turned_up_no_further_than_sense_allows(folder: Path) -> None:
    """Without a voice the play itself is brought to the loudness, or as near as 24 dB of gain and the peak allow."""
    samples, track = track_of(folder, cut_list(voice=False))
    assert track.lufs is not None
    assert track.play_db <= 24.0
    assert pyloudnorm.Meter(48000).integrated_loudness(samples) == pytest.approx(track.lufs, abs=0.2)
    assert track.lufs == pytest.approx(-14.0, abs=0.5) or track.play_db == pytest.approx(24.0)


def test_without_any_sound_there_is_silence(tmp_path: Path) -> None:
    """As long as the pictures, and no loudness is made up."""
    filmed.film(tmp_path / "clip.mp4", filmed.Clip(sound=False))
    samples, track = track_of(tmp_path, cut_list(voice=False))
    assert len(samples) == 24 * 48000
    assert not samples.any()
    assert track.lufs is None

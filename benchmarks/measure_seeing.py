"""What harm done to footage costs the seeing: a clip is spoilt in several ways, each is watched and held against the truth.

    python benchmarks/measure_seeing.py harm sample_media --until 25
    python benchmarks/measure_seeing.py plane

`harm`: CLIPDIR holds one .mp4 and its truth.json. Rows are printed as they come, so that a run that is stopped counts as far as it
got. Needs the ffmpeg program. `plane`: how far off balls would be placed by a plane homography through the
four true corners of the noses, over the cameras of 200 made-up scenes; nothing is watched. Many stills of known truth are measured by `measure_stills.py`.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from lessonkit.errors import LessonkitError  # noqa: E402
from lessonkit.model import Seen  # noqa: E402
from lessonkit.seeing.watch import watch  # noqa: E402
from lessonkit.table.camera import project  # noqa: E402
from tests.measuring import measure  # noqa: E402
from tests.scenes import make_camera, random_scene  # noqa: E402
from tests.scenes.making import Difficulty  # noqa: E402

DIFFICULTIES: tuple[Difficulty, ...] = ("easy", "middling", "hard")


@dataclass(frozen=True)
class Harm:
    """One way to spoil a clip."""

    name: str
    picture: tuple[str, ...]
    """Arguments for ffmpeg between its input and its output."""
    bitrate_share: float | None = None
    start_s: float = 0.0
    short_s: float = 0.0
    """So much is cut off the end."""
    turned: bool = False
    """The file says by its rotation flag that the picture is upside down."""


HARMS = (
    Harm("none (re-encoded at a high rate)", ("-crf", "18")),
    Harm("a tenth of the bitrate", (), bitrate_share=0.1),
    Harm("scaled to 640 px", ("-vf", "scale=640:-2", "-crf", "20")),
    Harm("every tenth frame dropped", ("-vf", "select=mod(n+1\\,10)", "-fps_mode", "vfr", "-crf", "18")),
    Harm("brightness halved", ("-vf", "lutyuv=y=16+(val-16)/2:u=128+(val-128)/2:v=128+(val-128)/2", "-crf", "18")),
    Harm("rotated by flag, 180 degrees", ("-c", "copy"), turned=True),
    Harm("every tenth frame a copy of the last", ("-vf", "select=mod(n+1\\,10),fps=30", "-crf", "18")),
    Harm("cut within the first shot", ("-crf", "18"), start_s=6.5),
    Harm("cut within the last shot", ("-crf", "18"), short_s=1.5),
)  # fmt: skip


def main() -> None:
    """Spoil, watch and score."""
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("what", choices=["harm", "plane"])
    p.add_argument("clip", type=Path, nargs="?", default=ROOT / "sample_media")
    p.add_argument("--until", type=float, default=1e9, help="take the first so many seconds only")
    asked = p.parse_args()
    if asked.what == "plane":
        plane()
        return
    clip = next(asked.clip.glob("*.mp4"))
    truth = json.loads((asked.clip / "truth.json").read_text())
    until_s = min(asked.until, truth["duration"])
    print("| harm | shots found / true / false | strike, median (ms) | recall | precision | numbers right | place, median / 95th percentile (mm) | cue path, median / 95th (mm) |")  # fmt: skip
    print("| --- | --- | --- | --- | --- | --- | --- | --- |", flush=True)
    for harm in HARMS:
        print(f"| {harm.name} | {_measured(harm, clip, truth, until_s)} |", flush=True)


def plane(first: int = 5000, count: int = 200) -> None:
    """Balls placed by a homography of the nose corners: the model's own error, with corners that are exact."""
    off: dict[Difficulty, list[float]] = {d: [] for d in DIFFICULTIES}
    for seed in range(first, first + count):
        difficulty: Difficulty = DIFFICULTIES[seed % 3]
        scene = random_scene(np.random.default_rng(seed), difficulty, 0, size=(1280, 720))
        camera, t = make_camera(scene.view, scene.table), scene.table
        corners = np.array([(0, 0), (t.length_mm, 0), (t.length_mm, t.width_mm), (0, t.width_mm)], np.float32)
        seen = project(camera, np.c_[corners, np.full(4, t.nose_height_mm)]).astype(np.float32)
        balls = np.array(list(scene.layout.values()))
        px = project(camera, balls, t.radius_mm).astype(np.float32)
        got = cv2.perspectiveTransform(px[None], cv2.getPerspectiveTransform(seen, corners))[0]
        off[difficulty] += np.hypot(*(got - balls).T).tolist()
    print("| scenes | balls | median / 95th percentile / worst (mm) |\n| --- | --- | --- |")
    for kind, values in off.items():
        print(f"| {kind} | {len(values)} | {_figure(values, (50, 95, 100))} |")


def _measured(harm: Harm, clip: Path, truth: dict[str, Any], until_s: float) -> str:
    """The rest of a harm's row."""
    end_s = until_s - harm.short_s
    with tempfile.TemporaryDirectory() as folder:
        spoilt = Path(folder) / "spoilt.mp4"
        _spoil(harm, clip, spoilt, end_s)
        try:
            seen = watch(spoilt, head="right" if harm.turned else "left")
        except LessonkitError as e:
            return f"refused: {e} | | | | | |"
    a = measure(_as_analysis(seen), _part(truth, harm.start_s, end_s))
    n = len(a.place_mm)
    return " | ".join(
        [
            f"{a.shots_matched} / {a.shots_true} / {a.shots_found - a.shots_matched}",
            _figure(a.strike_s * 1000, (50,)),
            f"{n / max(a.balls_true, 1):.3f}",
            f"{n / max(a.balls_found, 1):.3f}",
            f"{a.numbers_right / max(n, 1):.3f}",
            _figure(a.place_mm, (50, 95)),
            _figure(a.path_mm, (50, 95)),
        ]
    )


def _spoil(harm: Harm, clip: Path, to: Path, end_s: float) -> None:
    arguments = ["ffmpeg", "-v", "error", "-y"]
    arguments += ["-i", str(clip), "-to", str(end_s), "-an"]
    if harm.start_s:  # with streams copied even 0 would cut up to the next key frame
        arguments += ["-ss", str(harm.start_s)]
    if harm.turned:
        arguments += ["-metadata:s:v:0", "rotate=180"]  # ffmpeg 5 and older write the flag by this
    if "copy" not in harm.picture:
        arguments += ["-c:v", "libx264", "-preset", "superfast", "-pix_fmt", "yuv420p"]
    if harm.bitrate_share is not None:
        arguments += ["-b:v", str(int(_bits_per_s(clip) * harm.bitrate_share))]
    subprocess.run([*arguments, *harm.picture, str(to)], check=True)


def _bits_per_s(clip: Path) -> float:
    import av

    with av.open(str(clip)) as container:
        return float(container.streams.video[0].bit_rate or container.bit_rate)


def _part(truth: dict[str, Any], start_s: float, end_s: float) -> dict[str, Any]:
    """The shots that lie whole between the two times, counted from the first."""
    shots = []
    for s in truth["shots"]:
        if s["strike_s"] > start_s and s["rest_s"] < end_s:
            path = [[t - start_s, x, y] for t, x, y in s["cue_path"]]
            shots.append(s | {"strike_s": s["strike_s"] - start_s, "cue_path": path})
    return {"shots": shots}


def _as_analysis(seen: Seen) -> dict[str, Any]:
    return {
        "shots": [
            {
                "strike_s": s.strike_s,
                "layout_before": {str(n): p for n, p in s.layout_before.items()},
                "layout_after": {str(n): p for n, p in s.layout_after.items()},
                "cue_path": s.cue_path,
            }
            for s in seen.shots
        ]
    }


def _figure(values: Any, shares: tuple[int, ...]) -> str:
    return " / ".join(f"{np.percentile(values, q):.2f}" for q in shares) if len(values) else "none"


if __name__ == "__main__":
    main()

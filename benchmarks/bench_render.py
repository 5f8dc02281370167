"""Time of rendering a lesson against the time of encoding its frames alone, in one run, as a ratio.

python benchmarks/bench_render.py [FOOTAGE --notes NOTES] [--repeats N]

Encoding alone: stretches of the finished lesson, spread over it, are decoded into memory and handed to the same encoder
with the same settings; only the handing over is timed, and scaled by the number of frames. Nothing is asserted: the
figures depend on the machine, the ratio less so.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path
from typing import Any

import av

from clocks import Cost, best, cost_of, decode, table
from lessonkit import stages
from lessonkit.lesson.cutlist import output_rate
from lessonkit.lesson.cutting import build_cuts
from lessonkit.progress import Lines, ignore
from lessonkit.publish.encoder import CRF, KEYFRAME_EVERY_S, PRESET
from lessonkit.publish.video import render

SAMPLE = Path(__file__).parent.parent / "sample_media"
STRETCHES, STRETCH_FRAMES = 4, 150


def _stretch(lesson: Path, start_s: float) -> list[Any]:
    """Some frames of the lesson from a time on, decoded."""
    frames: list[Any] = []
    with av.open(str(lesson)) as container:
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        container.seek(int(start_s / stream.time_base), stream=stream)
        for frame in container.decode(stream):
            frames.append(frame)
            if len(frames) == STRETCH_FRAMES:
                break
    return frames


def _encode(frames: list[Any], rate: Any, to: Path) -> None:
    with av.open(str(to), "w", format="mp4") as out:
        options = {"crf": CRF, "preset": PRESET, "g": str(round(KEYFRAME_EVERY_S * rate))}
        stream = out.add_stream("libx264", rate=rate, options=options)
        stream.width, stream.height, stream.pix_fmt = frames[0].width, frames[0].height, "yuv420p"
        stream.codec_context.time_base = 1 / rate
        stream.codec_context.thread_type = "AUTO"
        for i, frame in enumerate(frames):
            frame.pts, frame.time_base, frame.pict_type = i, 1 / rate, 0
            out.mux(stream.encode(frame))
        out.mux(stream.encode())


def encoding_alone(lesson: Path, rate: Any, frames: int) -> Cost:
    """The cost of encoding as many frames as the lesson has, from stretches of it."""
    wall = cpu = 0.0
    done = 0
    length_s = float(frames / rate)
    for k in range(STRETCHES):
        taken = _stretch(lesson, length_s * (k + 0.5) / STRETCHES)
        c = cost_of(lambda taken=taken: _encode(taken, rate, lesson.with_name("again.mp4")))  # type: ignore[misc]
        wall, cpu, done = wall + c.wall_s, cpu + c.cpu_s, done + len(taken)
    return Cost(wall, cpu).scaled(frames / done)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("footage", nargs="?", type=Path, default=SAMPLE / "club-night.mp4")
    parser.add_argument("--notes", type=Path, default=SAMPLE / "notes.txt")
    parser.add_argument("--repeats", type=int, default=2)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as home:
        job = stages.Job(args.footage, Path(home) / "work", args.notes)
        analysis = stages.analyse(job, Lines()).analysis
        cuts, lesson = build_cuts(analysis), Path(home) / "lesson.mp4"
        rate = output_rate(analysis.footage)
        rendering, encoding = [], []
        frames = 0
        for _ in range(args.repeats):
            rendering.append(cost_of(lambda: render(args.footage, analysis, cuts, lesson, progress=ignore)))
            frames = decode(lesson)
            encoding.append(encoding_alone(lesson, rate, frames))
        floor = best(encoding)
        print(f"lesson of {args.footage.name}, {frames} frames, best of {args.repeats}")
        print(
            table([("encoding alone", floor), ("rendering (whole lesson)", best(rendering))], floor, frames)
        )


if __name__ == "__main__":
    main()

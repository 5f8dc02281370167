"""Time of rendering a lesson, and of a draft of it, against the time of encoding its frames alone, as ratios in one run.

python benchmarks/bench_render.py [FOOTAGE --notes NOTES] [--analysis ANALYSIS] [--repeats N]

Encoding alone: the finished lesson's frames are decoded in blocks into memory, and only the handing of each block to an
encoder with the lesson's settings, frame by frame as any encoder takes them, is timed, with the sound's encoding. Nothing
is asserted: the figures depend on the machine, the ratio less so.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import av
import cv2

from clocks import Cost, best, cost_of, peak_mb, table
from lessonkit import stages
from lessonkit.analysis_file import read_analysis
from lessonkit.lesson.cutting import build_cuts
from lessonkit.progress import Lines
from lessonkit.publish import video
from lessonkit.publish.encoder import Form, codec
from lessonkit.publish.joining import SAMPLE_RATE_HZ, SOUND_BITS_PER_S

SAMPLE = Path(__file__).parent.parent / "sample_media"
BLOCK = 90
"""Pictures held in memory: 280 MB at 1080p."""


def _blocks(path: Path, kind: str) -> Iterator[list[Any]]:
    """Decoded frames, BLOCK at a time."""
    with av.open(str(path)) as container:
        stream = container.streams.get({kind: 0})[0]
        stream.thread_type = "AUTO"
        block: list[Any] = []
        for frame in container.decode(stream):
            block.append(frame)
            if len(block) == BLOCK:
                yield block
                block = []
        yield block


def encode_alone(lesson: Path, form: Form, out: Path) -> Cost:
    """The cost of encoding these pictures and this sound into a file, and of nothing else."""
    total = Cost(0.0, 0.0)
    with av.open(str(out), "w", options={"movflags": "+faststart"}) as container:
        stream = container.add_stream("libx264", rate=form.rate)
        model = codec(form)
        context = stream.codec_context
        context.width, context.height, context.pix_fmt = *form.size, "yuv420p"
        context.time_base, context.thread_type, context.options = model.time_base, "AUTO", model.options
        audio = container.add_stream("aac", rate=SAMPLE_RATE_HZ, layout="stereo", bit_rate=SOUND_BITS_PER_S)
        for kind, to in (("video", stream), ("audio", audio)):
            for block in _blocks(lesson, kind):

                def work(block: list[Any] = block, to: Any = to) -> None:
                    for frame in block:
                        if isinstance(frame, av.VideoFrame):
                            frame.pict_type = 0
                        container.mux(to.encode(frame))

                total = _sum(total, cost_of(work))
            total = _sum(total, cost_of(lambda to=to: container.mux(to.encode(None))))
    return total


def _sum(a: Cost, b: Cost) -> Cost:
    return replace(a, wall_s=a.wall_s + b.wall_s, cpu_s=a.cpu_s + b.cpu_s)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("footage", nargs="?", type=Path, default=SAMPLE / "club-night.mp4")
    parser.add_argument("--notes", type=Path, default=SAMPLE / "notes.txt")
    parser.add_argument(
        "--analysis", type=Path, help="an analysis.json of the footage, to spare the watching"
    )
    parser.add_argument("--repeats", type=int, default=2)
    args = parser.parse_args()
    cv2.setNumThreads(1)  # as the watching leaves it
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        job = stages.Job(args.footage, home / "work", args.notes)
        analysis = read_analysis(args.analysis) if args.analysis else stages.analyse(job, Lines()).analysis
        cuts, form = build_cuts(analysis), video.form_of(analysis)
        rendering, drafting, encoding = [], [], []
        for _ in range(args.repeats):
            rendering.append(cost_of(lambda: video.render(args.footage, analysis, cuts, home / "lesson.mp4")))
            encoding.append(encode_alone(home / "lesson.mp4", form, home / "alone.mp4"))
            drafting.append(
                cost_of(lambda: video.render(args.footage, analysis, cuts, home / "draft.mp4", draft=True))
            )
        floor = best(encoding)
        rows = [
            ("encoding alone", floor),
            ("rendering (whole lesson)", best(rendering)),
            ("draft", best(drafting)),
        ]
        frames = round(cuts.duration_s * form.rate)
        print(f"lesson of {args.footage.name}, {frames} frames, best of {args.repeats}")
        print(table(rows, floor, frames))
        quicker = best(rendering).over(best(drafting))
        print(f"a draft is {quicker[0]:.1f} times as fast (processor: {quicker[1]:.1f})")
        print(f"most memory in this process, blocks of the bench included: {peak_mb():.0f} MB")


if __name__ == "__main__":
    main()

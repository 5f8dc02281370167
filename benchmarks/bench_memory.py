"""Most memory held while rendering, for lessons of different lengths from the same footage.

python benchmarks/bench_memory.py [FOOTAGE] --analysis ANALYSIS [--minutes 2 20] [--draft]

A longer lesson is made of the shots of the footage over and over, each time from a moment that differs a little, so that
no piece is found made. Each length is rendered in a process of its own, whose peak is asked of the system.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import cv2

from clocks import peak_mb
from lessonkit.analysis_file import read_analysis
from lessonkit.lesson.cutlist import CutList, Draft, output_rate
from lessonkit.lesson.cutting import draft_lesson
from lessonkit.lesson.laying import lay_out
from lessonkit.model import Analysis
from lessonkit.publish import video

SAMPLE = Path(__file__).parent.parent / "sample_media"


def lengthened(analysis: Analysis, minutes: float) -> CutList:
    """A lesson at least so long."""
    rate, base = output_rate(analysis.footage), draft_lesson(analysis)
    drafts: list[Draft] = []
    n = 0
    while lay_out(drafts, rate, analysis.shots).duration_s < minutes * 60:
        shift = 0.0005 * n
        drafts += [
            d if d.source_start_s is None else replace(d, source_start_s=d.source_start_s + shift)
            for d in base
        ]
        n += 1
    return lay_out(drafts, rate, analysis.shots)


def one(args: argparse.Namespace, minutes: float) -> None:
    """Render one length and print."""
    cv2.setNumThreads(1)  # as the watching leaves it
    analysis = read_analysis(args.analysis)
    cuts = lengthened(analysis, minutes)
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as home:
        video.render(args.footage, analysis, cuts, Path(home) / "lesson.mp4", draft=args.draft)
    took_s = time.monotonic() - begun
    size = "x".join(map(str, video.form_of(analysis, draft=args.draft).size))
    print(
        f"{cuts.duration_s / 60:5.1f} min at {size}: most memory {peak_mb():5.0f} MB, {took_s:5.0f} s",
        flush=True,
    )


def main() -> None:
    """Measure every length in a process of its own."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("footage", nargs="?", type=Path, default=SAMPLE / "club-night.mp4")
    parser.add_argument("--analysis", type=Path, required=True, help="an analysis.json of the footage")
    parser.add_argument("--minutes", type=float, nargs="+", default=[2.0, 20.0])
    parser.add_argument("--draft", action="store_true")
    args = parser.parse_args()
    if len(args.minutes) == 1:
        one(args, args.minutes[0])
        return
    for minutes in args.minutes:
        more = ["--draft"] if args.draft else []
        subprocess.run(
            [sys.executable, __file__, str(args.footage), "--analysis", str(args.analysis), "--minutes", str(minutes), *more],
            check=True,
        )  # fmt: skip


if __name__ == "__main__":
    main()

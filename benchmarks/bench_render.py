"""Time of rendering a lesson against the time of encoding its frames alone, in one run, as a ratio.

python benchmarks/bench_render.py [FOOTAGE --notes NOTES] [--analysis ANALYSIS] [--repeats N]

Encoding alone: the lesson is rendered once more, but its frames are gathered in blocks in memory, and only the handing
of each block to the same encoder with the same settings is timed, so frames and settings are exactly the lesson's.
Nothing is asserted: the figures depend on the machine, the ratio less so.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
from pathlib import Path
from typing import Any
from unittest.mock import patch

import cv2

from clocks import Cost, best, cost_of, table
from lessonkit import stages
from lessonkit.analysis_file import read_analysis
from lessonkit.lesson.cutting import build_cuts
from lessonkit.lesson.picture import Picture
from lessonkit.progress import Lines, ignore
from lessonkit.publish import video
from lessonkit.publish.encoder import Encoder

SAMPLE = Path(__file__).parent.parent / "sample_media"
BLOCK = 90
"""Different pictures held in memory: 280 MB at 1080p."""


class Gathering(Encoder):
    """Encodes in blocks, and measures that alone."""

    cost = Cost(0.0, 0.0)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        Gathering.cost = Cost(0.0, 0.0)
        self._block: list[tuple[Picture, int]] = []
        super().__init__(*args, **kwargs)

    def picture(self, picture: Picture, repeat: int = 1) -> None:
        """Gather."""
        self._block.append((picture, repeat))
        if len({id(p) for p, _ in self._block}) >= BLOCK:
            self._encode_block()

    @property
    def frames(self) -> int:
        """With those gathered."""
        return super().frames + sum(n for _, n in self._block)

    @property
    def samples_due(self) -> int:
        """Sound follows when its pictures are encoded."""
        self._encode_block()
        return super().samples_due

    def _encode_block(self) -> None:
        block, self._block = self._block, []

        def work() -> None:
            for picture, repeat in block:
                super(Gathering, self).picture(picture, repeat)
            self._waiting.join()

        self._add(cost_of(work))

    def sound(self, samples: Any) -> None:
        """The sound is encoding, too."""

        def work() -> None:
            super(Gathering, self).sound(samples)
            self._waiting.join()

        self._add(cost_of(work))

    def close(self) -> None:
        """Writing the index is encoding, too."""
        self._encode_block()
        self._add(cost_of(super().close))

    @staticmethod
    def _add(c: Cost) -> None:
        Gathering.cost = Cost(Gathering.cost.wall_s + c.wall_s, Gathering.cost.cpu_s + c.cpu_s)


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
    with tempfile.TemporaryDirectory() as home:
        job = stages.Job(args.footage, Path(home) / "work", args.notes)
        analysis = read_analysis(args.analysis) if args.analysis else stages.analyse(job, Lines()).analysis
        cuts, lesson = build_cuts(analysis), Path(home) / "lesson.mp4"
        rendering, encoding = [], []
        for _ in range(args.repeats):
            rendering.append(
                cost_of(lambda: video.render(args.footage, analysis, cuts, lesson, progress=ignore))
            )
            with patch.object(video, "Encoder", Gathering):
                video.render(args.footage, analysis, cuts, lesson, progress=ignore)
            encoding.append(Gathering.cost)
        floor = best(encoding)
        frames = round(cuts.duration_s * video.output_rate(analysis.footage))
        print(f"lesson of {args.footage.name}, {frames} frames, best of {args.repeats}")
        print(
            table([("encoding alone", floor), ("rendering (whole lesson)", best(rendering))], floor, frames)
        )
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"most memory in this process, blocks of the bench included: {most:.0f} MB")


if __name__ == "__main__":
    main()

"""Time of watching footage against the time of decoding it alone, in one run, as a ratio.

python benchmarks/bench_analyse.py [FOOTAGE] [--repeats N]

The two are run in turns, so that other work on the machine falls on both; the least of each counts. Nothing is
asserted: the figures depend on the machine, the ratio less so.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from clocks import best, cost_of, decode, table
from lessonkit.seeing.watch import watch

SAMPLE = Path(__file__).parent.parent / "sample_media" / "club-night.mp4"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("footage", nargs="?", type=Path, default=SAMPLE)
    parser.add_argument("--repeats", type=int, default=2)
    args = parser.parse_args()
    frames = decode(args.footage)  # also brings the file into memory, and is not counted
    decoding, watching = [], []
    for _ in range(args.repeats):
        decoding.append(cost_of(lambda: decode(args.footage)))
        watching.append(cost_of(lambda: watch(args.footage)))
    floor = best(decoding)
    print(f"{args.footage.name}, {frames} frames, best of {args.repeats}")
    print(table([("decoding alone", floor), ("watching (whole analysis)", best(watching))], floor, frames))


if __name__ == "__main__":
    main()

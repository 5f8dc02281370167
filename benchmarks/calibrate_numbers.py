"""Whether numbers said at 0.9 are right nine times in ten: the fit of `lessonkit/seeing/calibration.py`, and its curve.

    python benchmarks/measure_stills.py --first 3000 --count 120 --out fitted.jsonl
    python benchmarks/calibrate_numbers.py fit fitted.jsonl
    python benchmarks/calibrate_numbers.py curve other.jsonl --out docs/number-calibration.svg

`fit` prints the two figures of the logarithm of the odds that make the right and wrong of the tables likeliest (Platt's
scaling, with a weak hold on 0 and 1 where little was wrong), and how often a size that was said to be unsure was right.
`curve` draws said against right, on tables of a size said to be sure that were not fitted on, with Wilson's 95 % interval for each share.
"""

from __future__ import annotations

import argparse
import json
import math
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

BINS = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 1.001)
HELD = (0.0, 1.0), (2.0, 1.0)
"""Means and standard deviations of offset and slope before anything was seen."""
SIDE, EDGE = 360, 56


def main() -> None:
    """Fit or draw."""
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("what", choices=("fit", "curve"))
    p.add_argument("rows", type=Path, nargs="+")
    p.add_argument("--out", type=Path, default=Path("docs/number-calibration.svg"))
    asked = p.parse_args()
    rows = [json.loads(line) for f in asked.rows for line in f.read_text().splitlines()]
    seen = [r for r in rows if "refused" not in r]
    right = np.array([x for r in seen for x in r["right"]], bool)
    if asked.what == "fit":
        offset, slope = fit(np.array([x for r in seen for x in r["likely"]]), right)
        print(f"{len(right)} balls, {(~right).sum()} wrong: offset {offset:.2f}, slope {slope:.2f}")
        for sure in (True, False):
            of = [r["size_right"] for r in seen if r["size_sure"] is sure]
            print(f"size said to be {'sure' if sure else 'unsure'}: right in {sum(of)} of {len(of)}")
        return
    sure = [r for r in seen if r["size_sure"]]
    unsure = [r for r in seen if not r["size_sure"]]
    shares = binned(
        np.array([x for r in sure for x in r["confidence"]]),
        np.array([x for r in sure for x in r["right"]], bool),
    )
    for said, share, low, high, count in shares:
        print(f"said {said:.3f}: right {share:.3f} ({low:.3f} to {high:.3f}) of {count}")
    said = [x for r in unsure for x in r["confidence"]]
    numbers = [x for r in unsure for x in r["right"]]
    placed = [x and r["size_right"] for r in unsure for x in r["right"]]
    if said:
        print(
            f"size unsure, {len(unsure)} tables: said {np.mean(said):.3f}, numbers right {np.mean(numbers):.3f}, ",
            end="",
        )
        print(f"on a table of the right size as well {np.mean(placed):.3f} of {len(said)}")
    asked.out.write_text(drawn(shares, len(sure)), encoding="utf-8")


def fit(likely: NDArray[np.float64], right: NDArray[np.bool_]) -> tuple[float, float]:
    """Offset and slope of the logarithm of the odds."""
    from scipy.optimize import minimize

    p = np.clip(likely, 1e-4, 1 - 1e-4)
    odds = np.log(p / (1 - p))

    def lack(v: Any) -> float:
        z = v[0] + v[1] * odds
        held = sum(((x - m) / s) ** 2 for x, m, s in zip(v, *HELD, strict=True))
        return float(np.logaddexp(0, np.where(right, -z, z)).sum() + 0.5 * held)

    a, b = minimize(lack, [0.0, 1.0]).x
    return float(a), float(b)


def binned(
    said: NDArray[np.float64], right: NDArray[np.bool_]
) -> list[tuple[float, float, float, float, int]]:
    """For each bin: mean said, share right, Wilson's interval (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209), count."""
    out = []
    for low, high in pairwise(BINS):
        inside = (said >= low) & (said < high)
        n = int(inside.sum())
        if not n:
            continue
        share, z = float(right[inside].mean()), 1.96
        middle = (share + z * z / (2 * n)) / (1 + z * z / n)
        half = z * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n)) / (1 + z * z / n)
        out.append((float(said[inside].mean()), share, middle - half, middle + half, n))
    return out


def drawn(shares: list[tuple[float, float, float, float, int]], tables: int) -> str:
    """The curve as an SVG picture."""

    def at(x: float, y: float) -> tuple[float, float]:
        return EDGE + x * SIDE, 20 + (1 - y) * SIDE

    def line(a: tuple[float, float], b: tuple[float, float], style: str) -> str:
        return f'<line x1="{a[0]:.1f}" y1="{a[1]:.1f}" x2="{b[0]:.1f}" y2="{b[1]:.1f}" {style}/>'

    parts = [f'<rect x="{EDGE}" y="20" width="{SIDE}" height="{SIDE}" fill="#fff" stroke="#444"/>']
    for k in range(0, 11, 2):
        x, y = at(k / 10, 0), at(0, k / 10)
        parts.append(f'<text x="{x[0]:.1f}" y="{x[1] + 18:.1f}" text-anchor="middle">{k / 10:g}</text>')
        parts.append(f'<text x="{y[0] - 8:.1f}" y="{y[1] + 4:.1f}" text-anchor="end">{k / 10:g}</text>')
    parts.append(line(at(0, 0), at(1, 1), 'stroke="#999" stroke-dasharray="5 4"'))
    for (said, share, low, high, count), after in zip(shares, [*shares[1:], None], strict=True):
        x, y = at(said, share)
        parts.append(line(at(said, low), at(said, high), 'stroke="#1f5fa8" stroke-width="1.5"'))
        if after:
            parts.append(line((x, y), at(after[0], after[1]), 'stroke="#1f5fa8" stroke-width="1"'))
        parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="#1f5fa8"><title>{count} balls</title></circle>'
        )
    parts.append(f'<text x="{EDGE + SIDE / 2}" y="{SIDE + 60}" text-anchor="middle">confidence said</text>')
    parts.append(
        f'<text transform="translate(16 {20 + SIDE / 2}) rotate(-90)" text-anchor="middle">share right</text>'
    )
    balls = sum(s[4] for s in shares)
    parts.append(f'<text x="{EDGE + 12}" y="42">{balls} balls on {tables} tables; bars: 95 % interval</text>')
    size = f'width="{SIDE + EDGE + 24}" height="{SIDE + 72}"'
    style = 'font-family="sans-serif" font-size="13" fill="#222"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size} {style}>\n' + "\n".join(parts) + "\n</svg>\n"


if __name__ == "__main__":
    main()

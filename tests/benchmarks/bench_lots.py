"""Prints how fast packs are planned over 24 months, against HiGHS in the same run.

Run: python tests/benchmarks/bench_lots.py [plans of ours] [plans of the solver]   (default 400 10)

The solver gets the same plans at a gap of 1 % and a limit of 60 s each; its time is scaled from
the plans it was given. Month by month (no piece carried on) stands beside both as the baseline.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace

from tests.properties import test_lots_within_bounds as bounds


def main(ours: int, theirs: int) -> None:
    """Time both and print the ratio and what planning months together saves."""
    cases = [bounds.case(seed) for seed in range(ours)]
    begun = time.perf_counter()
    costs = [one.cost() for one in cases]
    mine = time.perf_counter() - begun
    alone = [replace(one, carry_months=0).cost() for one in cases]
    begun = time.perf_counter()
    for one in cases[:theirs]:
        bounds.solver_bounds(one)
    scaled = (time.perf_counter() - begun) / theirs * ours
    print(f"{ours} plans of 12 to 24 months: {mine:.2f} s; HiGHS, scaled from {theirs}: {scaled:.1f} s"
          f" (ratio {scaled / mine:.0f})")  # fmt: skip
    print(f"month by month is {sum(alone) / sum(costs) - 1:.1%} dearer")


if __name__ == "__main__":
    sizes = [int(v) for v in sys.argv[1:]] or [400, 10]
    main(sizes[0], sizes[1])

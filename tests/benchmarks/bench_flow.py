"""Prints how fast many ducts and rooms are worked out, against scalar loops in the same run.

Run: python tests/benchmarks/bench_flow.py [ducts]   (default 1000000)

Ducts: one level difference each, against a loop over the scalar friction factor of the library
`fluids` (its default for a pipe, and its fastest close formula), repeated until the velocity
stands within 1e-6; timed on 10,000 ducts and scaled. Rooms: one duct each, against scipy's ODE
solver, timed on 200 and scaled. The error shown is that of the head that our flow would need, by
the library's exact Colebrook, on 2,000 turbulent ducts. Nothing is asserted.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable
from typing import Any

import fluids.friction
import numpy as np
from scipy.integrate import solve_ivp

from pipeline.core.handbook import G_M_PER_S2
from pipeline.exposure.filling import Rooms, hours_to_critical_h
from pipeline.exposure.flow import WATER_10C_M2_PER_S, Ducts, discharge_l_per_s

SEED = 4
LOOP_DUCTS = 10_000
LOOP_ROOMS = 200
CHECKED = 2_000
LOSSES = 1.5


def timed(work: Callable[[], Any], repeats: int = 1) -> tuple[float, Any]:
    """Best seconds of a few calls, and the last answer."""
    best, answer = math.inf, None
    for _ in range(repeats):
        begun = time.perf_counter()
        answer = work()
        best = min(best, time.perf_counter() - begun)
    return best, answer


def one_by_one(
    head: float, hydraulic_m: float, length: float, ratio: float, method: str | None
) -> float:
    """Velocity (m/s) by repeated substitution with the library's scalar friction factor."""
    v = math.sqrt(2 * G_M_PER_S2 * head / (LOSSES + 0.02 * length / hydraulic_m))
    for _ in range(50):
        f = fluids.friction.friction_factor(
            Re=v * hydraulic_m / WATER_10C_M2_PER_S, eD=ratio, Method=method
        )
        new = math.sqrt(2 * G_M_PER_S2 * head / (LOSSES + f * length / hydraulic_m))
        if abs(new - v) < 1e-6 * new:
            return new
        v = new
    return v


def main(count: int) -> None:
    """Time ducts and rooms and print ratios."""
    rng = np.random.default_rng(SEED)
    bore = rng.uniform(50.0, 200.0, count)
    cables = bore * rng.uniform(0.0, 0.8, count)
    ducts = Ducts(bore, rng.uniform(2.0, 120.0, count), rng.uniform(0.0015, 1.0, count),
                  cables, cables**2 / 3.0)  # fmt: skip
    head = rng.uniform(0.05, 4.0, count)
    ours, flow = timed(lambda: discharge_l_per_s(ducts, head), 5)
    hydraulic = ducts.hydraulic_mm / 1000.0
    ratio = np.asarray(ducts.roughness_mm) / ducts.hydraulic_mm
    rows = list(
        zip(*(a[:LOOP_DUCTS].tolist() for a in (head, hydraulic, np.asarray(ducts.length_m),
                                                ratio)), strict=True)
    )  # fmt: skip
    print(f"{count:,} ducts: {ours:.3f} s")
    for name, method in (("default", None), ("Colebrook", "Colebrook")):
        loop, _ = timed(lambda m=method: [one_by_one(*row, method=m) for row in rows])  # type: ignore[misc]
        scaled = loop * count / len(rows)
        print(f"  scalar loop, fluids {name}: {scaled:.1f} s scaled, ratio {scaled / ours:.0f}")
    v = (flow / 1000.0 / (ducts.area_mm2 * 1e-6))[:CHECKED]
    error = 0.0
    for i in range(min(CHECKED, count)):
        re = float(v[i] * hydraulic[i] / WATER_10C_M2_PER_S)
        if re > 2041.0:
            f = fluids.friction.Colebrook(re, float(ratio[i]))
            need = (LOSSES + f * np.asarray(ducts.length_m)[i] / hydraulic[i]) * v[i] ** 2
            error = max(error, abs(need / (2 * G_M_PER_S2 * head[i]) - 1.0))
    print(f"  largest relative error of the head: {error:.1e}")
    rooms_bench(count, rng)


def rooms_bench(count: int, rng: np.random.Generator) -> None:
    """Rooms with one inlet over the floor against scipy's ODE solver."""
    outside, sill = rng.uniform(1.2, 3.0, count), rng.uniform(0.0, 0.8, count)
    area, c = rng.uniform(5.0, 80.0, count), rng.uniform(1.0, 40.0, count)
    rooms = Rooms(area, 0.0, 1.0, outside)
    ours, hours = timed(lambda: hours_to_critical_h(rooms, sill[:, None], c[:, None]), 3)

    def solve(i: int) -> float:
        def reached(_t: float, z: Any) -> float:
            return float(z[0] - 1.0)

        reached.terminal = True  # type: ignore[attr-defined]
        done = solve_ivp(
            lambda _t, z: [c[i] / 1000 / area[i] * math.sqrt(max(outside[i] - max(z[0], sill[i]), 0))],
            (0.0, 1e9), [0.0], events=reached, rtol=1e-8, atol=1e-10,
        )  # fmt: skip
        return float(done.t_events[0][0]) / 3600.0

    loop, solved = timed(lambda: [solve(i) for i in range(LOOP_ROOMS)])
    scaled = loop * count / LOOP_ROOMS
    error = float(np.max(np.abs(np.array(solved) / hours[:LOOP_ROOMS] - 1.0)))
    print(f"{count:,} rooms: {ours:.3f} s, ODE solver {scaled:.0f} s scaled, "
          f"ratio {scaled / ours:.0f}, largest difference {error:.1e}")  # fmt: skip


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)

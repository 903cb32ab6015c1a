"""Filling times against worked cases, hand calculation and an ODE solver (scipy).

Worked cases: two tanks joined by an orifice (a textbook problem, answer computed at g = 9.81 and
by an ODE solver); Cengel & Cimbala, Fluid Mechanics, draining tank (from memory, recomputed); a
room behind a 150 mm bore with three 37 mm cables (computed, no published number).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from pipeline.exposure.filling import (
    Rooms,
    constant_inflow_h,
    falling_head_h,
    hours_to_critical_h,
    joined_area_m2,
)
from pipeline.exposure.flow import Ducts, conductance_l_per_s, discharge_l_per_s

ROOT_2G = math.sqrt(2.0 * 9.81)


def _c(cd: float, area_m2: float, root_2g: float = ROOT_2G) -> float:
    return 1000.0 * cd * area_m2 * root_2g


def test_two_tanks() -> None:
    """Tanks 2 and 0.8 m2, 10 cm orifice, Cd 0.7, difference 1.5 to 0.5 m: 24.293 s."""
    hours = falling_head_h(joined_area_m2(2.0, 0.8), _c(0.7, math.pi / 4 * 0.1**2), 1.5, 0.5)
    assert hours * 3600 == pytest.approx(24.293, abs=5e-4)


def test_draining_tank() -> None:
    """3 ft across, 0.5 in jet, Cd 1, 4 to 2 ft, g 32.2 ft/s2: 757 s (756.82 recomputed)."""
    ft = 0.3048
    area, jet = math.pi / 4 * (3 * ft) ** 2, math.pi / 4 * (0.5 * 0.0254) ** 2
    hours = falling_head_h(area, _c(1.0, jet, math.sqrt(2 * 32.2 * ft)), 4 * ft, 2 * ft)
    assert hours * 3600 == pytest.approx(756.82, abs=5e-3)


@pytest.mark.parametrize(
    ("head_m", "inflow", "seconds"), [(1.0, 39.032, 1024.80), (0.5, 27.600, 724.64)]
)
def test_room_fills_to_the_outside_level(head_m: float, inflow: float, seconds: float) -> None:
    """20 m2, free area 14 445.83 mm2, Cd 0.61, sill at the floor: inflow, and time to equal."""
    c = _c(0.61, 14_445.83e-6)
    assert c * math.sqrt(head_m) == pytest.approx(inflow, abs=5e-4)
    rooms = Rooms([20.0], [3.0], [head_m], [3.0 + head_m])
    # the water stands at the critical depth: equal is reached
    got = hours_to_critical_h(rooms, [[3.0]], [[c]])
    assert got * 3600 == pytest.approx([seconds], abs=5e-3)
    assert falling_head_h([20.0], c, head_m, 0.0) == pytest.approx(got, rel=1e-9)


def test_free_outfall_is_volume_over_flow() -> None:
    """While the sill lies above the room's water: V / Q."""
    c = _c(0.61, 0.01)
    rooms = Rooms([12.0], [10.0], [0.4], [11.7])
    want = 12.0 * 0.4 / (0.61 * 0.01 * math.sqrt(2 * 9.81 * 1.2))
    got = hours_to_critical_h(rooms, [[10.5]], [[c]])
    assert got * 3600 == pytest.approx([want], rel=1e-12)
    assert constant_inflow_h([4.8], c * math.sqrt(1.2)) == pytest.approx(got, rel=1e-12)


def _ode_s(area: float, start: float, goal: float, inflow: object) -> float:
    """Seconds until the level reaches the goal."""

    def reached(_t: float, z: np.ndarray) -> float:
        return float(z[0] - goal)

    reached.terminal = True  # type: ignore[attr-defined]
    done = solve_ivp(
        lambda _t, z: [inflow(z[0]) / 1000.0 / area],  # type: ignore[operator]
        (0.0, 1e9), [start], events=reached, rtol=1e-11, atol=1e-12, method="DOP853",
        max_step=50.0,
    )  # fmt: skip
    return float(done.t_events[0][0])


def _random_rooms(seed: int, rooms: int, inlets: int) -> tuple[Rooms, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    floor = rng.uniform(0.0, 40.0, rooms)
    outside = floor + rng.uniform(1.0, 2.5, rooms)
    invert = floor[:, None] + rng.uniform(-0.2, 3.0, (rooms, inlets))
    invert[:, 0] = floor + rng.uniform(0.0, 0.5, rooms)
    flow = rng.uniform(1.0, 30.0, (rooms, inlets))
    pump = np.where(rng.random(rooms) < 0.5, rng.uniform(0.0, 0.5, rooms), 0.0)
    depth = rng.uniform(0.1, 0.9, rooms)
    start = np.where(rng.random(rooms) < 0.5, 0.05, 0.0)
    return Rooms(rng.uniform(5.0, 60.0, rooms), floor, depth, outside, pump, start), invert, flow


def test_several_inlets_against_an_ode_solver() -> None:
    """25 rooms, five inlets at different heights (some above the water), pumps: 1e-6."""
    rooms, invert, flow = _random_rooms(3, 25, 5)
    got = hours_to_critical_h(rooms, invert, flow)
    assert np.isfinite(got).all()
    for r in range(25):
        floor = np.asarray(rooms.floor_level_m)[r]
        outside = np.asarray(rooms.outside_level_m)[r]

        def inflow(z: float, r: int = r, outside: float = outside) -> float:
            head = np.maximum(outside - np.maximum(z, invert[r]), 0.0)
            return float((flow[r] * np.sqrt(head)).sum() - np.asarray(rooms.pump_l_per_s)[r])

        start = floor + np.asarray(rooms.start_depth_m)[r]
        goal = floor + np.asarray(rooms.critical_depth_m)[r]
        want = _ode_s(float(np.asarray(rooms.plan_area_m2)[r]), start, goal, inflow)
        assert got[r] * 3600 == pytest.approx(want, rel=1e-6)


def test_small_falling_share_keeps_its_digits() -> None:
    """A tiny submerged inlet beside a large free one: the series joins the closed form smoothly."""
    rooms = Rooms(np.full(200, 30.0), 0.0, 0.8, 2.0)
    tiny = np.logspace(-9, 1, 200)
    flow = np.stack([np.full(200, 20.0), tiny], axis=1)
    got = hours_to_critical_h(rooms, np.tile([1.0, 0.0], (200, 1)), flow) * 3600
    z, w = np.polynomial.legendre.leggauss(40)
    level = 0.4 + 0.4 * z
    rate = 20.0 * np.sqrt(1.0) + tiny[:, None] * np.sqrt(2.0 - level)
    want = (30.0 * 1000.0 / rate * w * 0.4).sum(axis=1)
    assert got == pytest.approx(want, rel=1e-11)


def test_with_true_friction_the_room_never_fills_earlier() -> None:
    """Friction held at the first head gives the earlier time, by less than 5 % for real ducts."""
    rng = np.random.default_rng(11)
    for _ in range(12):
        bore = float(rng.uniform(80, 160))
        ducts = Ducts(bore, float(rng.uniform(5, 60)), 0.05, bore * 0.5, bore**2 * 0.12)
        outside, sill, depth = float(rng.uniform(1.2, 2.2)), float(rng.uniform(0, 0.6)), 1.0
        c = conductance_l_per_s(ducts, outside - sill)
        rooms = Rooms([25.0], [0.0], [depth], [outside])
        got = float(hours_to_critical_h(rooms, [[sill]], [[c]])[0]) * 3600
        true = _ode_s(
            25.0, 0.0, depth,
            lambda z, d=ducts, s=sill, o=outside: float(discharge_l_per_s(d, o - max(z, s))),
        )  # fmt: skip
        assert got <= true * (1 + 1e-9)
        assert got >= true * 0.95


def test_edges_of_the_rule() -> None:
    """Never, at once, equal and unknown are four different answers."""
    rooms = Rooms(
        10.0,
        0.0,
        [2.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5],
        [2.0, 2.0, 2.0, 0.5, 2.0, np.nan, 2.0],
        [0.0, 0.0, 50.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0],
    )
    flow = [[10.0], [10.0], [10.0], [10.0], [np.nan], [10.0], [0.0]]
    got = hours_to_critical_h(rooms, np.full((7, 1), 0.2), flow)
    assert got[0] == math.inf  # the water outside never stands so high
    assert got[1] == 0.0  # it already stands there
    assert got[2] == math.inf  # the pump keeps up
    assert math.isfinite(got[3])  # equal is reached
    assert np.isnan(got[4])
    assert np.isnan(got[5])
    assert got[6] == math.inf  # nothing comes in


def test_filled_up_rows_and_order_do_not_matter() -> None:
    """Inlets without conductance, wherever they lie, and the order of inlets change nothing."""
    rooms, invert, flow = _random_rooms(8, 40, 4)
    got = hours_to_critical_h(rooms, invert, flow)
    wide = np.concatenate([np.full((40, 2), np.nan), invert[:, ::-1]], axis=1)
    wide_flow = np.concatenate([np.zeros((40, 2)), flow[:, ::-1]], axis=1)
    assert hours_to_critical_h(rooms, wide, wide_flow) == pytest.approx(got, rel=1e-12)


def test_more_water_is_never_slower() -> None:
    """A higher outside level, a larger inlet or a smaller pump never gives more time."""
    rooms, invert, flow = _random_rooms(21, 60, 3)
    base = hours_to_critical_h(rooms, invert, flow)
    higher = Rooms(**{**vars(rooms), "outside_level_m": np.asarray(rooms.outside_level_m) + 0.2})
    dry_pump = Rooms(**{**vars(rooms), "pump_l_per_s": 0.0})
    assert (hours_to_critical_h(higher, invert, flow) <= base * (1 + 1e-12)).all()
    assert (hours_to_critical_h(rooms, invert, flow * 1.1) < base).all()
    assert (hours_to_critical_h(dry_pump, invert, flow) <= base * (1 + 1e-12)).all()

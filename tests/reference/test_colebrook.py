"""Friction and discharge against tables, closed limits and the library `fluids`.

Table: Colebrook and White's equation at six decimals, as `fluids` 1.3.1 and an independent
fixed-point loop gave it. Book values (from memory): Cengel & Cimbala, Fluid Mechanics, head-loss
example; White, Fluid Mechanics, oil-pipe example.
"""

from __future__ import annotations

import math

import fluids.core
import fluids.fittings
import fluids.friction
import numpy as np
import pytest
from scipy.optimize import brentq

from pipeline.core.handbook import G_M_PER_S2
from pipeline.exposure.flow import (
    WATER_10C_M2_PER_S,
    Ducts,
    cable_sums,
    discharge_l_per_s,
    free_area_mm2,
    hydraulic_diameter_mm,
    room_inflow_l_per_s,
    wetted_perimeter_mm,
)
from pipeline.exposure.friction import LAMINAR_REYNOLDS, colebrook_friction, pipe_friction

RATIOS = (0.0, 1e-5, 1e-4, 2e-4, 1e-3, 2e-3, 1e-2, 5e-2)
TABLE = {
    4e3: (0.039907, 0.039917, 0.040008, 0.040110, 0.040910, 0.041891, 0.049082, 0.076987),
    1e4: (0.030883, 0.030898, 0.031037, 0.031190, 0.032382, 0.033794, 0.043127, 0.073801),
    1e5: (0.017990, 0.018044, 0.018514, 0.019005, 0.022175, 0.025107, 0.038504, 0.071781),
    1e6: (0.011645, 0.011870, 0.013441, 0.014683, 0.019943, 0.023607, 0.037965, 0.071574),
    1e7: (0.008103, 0.008996, 0.012166, 0.013838, 0.019667, 0.023439, 0.037910, 0.071553),
    1e8: (0.005940, 0.008188, 0.011999, 0.013741, 0.019639, 0.023422, 0.037904, 0.071551),
}


@pytest.mark.parametrize("reynolds", list(TABLE))
def test_table(reynolds: float) -> None:
    """Every cell of the table, to half of its last decimal."""
    got = colebrook_friction(reynolds, np.array(RATIOS))
    assert got == pytest.approx(np.array(TABLE[reynolds]), abs=5e-7)


def test_grid_against_fluids() -> None:
    """Re 2040 to 1e9, smooth to a tenth of the bore: the library's exact solver, 1e-8 relative."""
    re = np.logspace(math.log10(2040.0), 9, 40)
    ratio = np.array([0.0, 1e-6, 1e-5, 1e-4, 1e-3, 1e-2, 5e-2, 0.1])
    theirs = [[fluids.friction.Colebrook(float(r), float(e)) for e in ratio] for r in re]
    assert colebrook_friction(re[:, None], ratio) == pytest.approx(np.array(theirs), rel=1e-8)


@pytest.mark.parametrize(
    ("reynolds", "ratio", "factor", "tolerance"),
    [
        (1e5, 1e-4, 0.01851386607747, 1e-12),  # documentation of fluids
        (126_400.0, 4.2e-5, 0.0174, 5e-5),  # Cengel & Cimbala, from memory
        (72_900.0, 2e-4, 0.0201, 5e-5),  # White, from memory
        (1000.0, 1e-3, 0.064, 1e-15),  # 64/Re
    ],
)
def test_published_values(reynolds: float, ratio: float, factor: float, tolerance: float) -> None:
    """Single values of books and of the library's own manual."""
    assert pipe_friction(reynolds, ratio) == pytest.approx(factor, abs=tolerance)


def test_unknown_stays_unknown() -> None:
    """NaN in, NaN out; never zero."""
    assert np.isnan(pipe_friction([np.nan, 1e5], [1e-3, np.nan])).all()
    one = Ducts([100.0, np.nan, 100.0, 100.0], 10.0, 0.1, [0.0, 0.0, np.nan, 0.0])
    assert np.isnan(discharge_l_per_s(one, [1.0, 1.0, 1.0, np.nan])).tolist() == [
        False, True, True, True,
    ]  # fmt: skip


def test_geometry_by_hand() -> None:
    """150 mm bore with three 37 mm cables: 14 445.83 mm2, Dh 70.471 mm; annulus Dh = D - d."""
    total, square = cable_sums([0, 2], [37.0, 37.0], [3, 1], ducts_count=3)
    assert total.tolist() == [111.0, 0.0, 37.0]
    assert square.tolist() == [3 * 37.0**2, 0.0, 37.0**2]
    assert free_area_mm2([150.0, 100.0, 100.0], square) == pytest.approx(
        [14_445.83, 7_853.98, 6_778.77], abs=5e-3
    )
    assert hydraulic_diameter_mm([150.0, 100.0, 100.0], total, square) == pytest.approx(
        [70.471, 100.0, 63.0], abs=5e-4
    )
    assert wetted_perimeter_mm(100.0, 37.0) == pytest.approx(math.pi * 137.0)


def test_cables_that_do_not_fit_are_not_a_seal() -> None:
    """Cables larger than the bore leave an unknown area, not a closed duct."""
    assert np.isnan(free_area_mm2([100.0, 100.0], [100.0**2, 2 * 80.0**2])).all()


def _by_library(head: float, bore: float, length: float, rough: float) -> float:
    """Flow (l/s) of an empty duct: the library's friction and losses, solved by bisection."""
    d = bore / 1000.0
    losses = fluids.fittings.entrance_sharp(method="Crane") + fluids.fittings.exit_normal()

    def excess(v: float) -> float:
        re = fluids.core.Reynolds(V=v, D=d, nu=WATER_10C_M2_PER_S)
        f = 64.0 / re if re < LAMINAR_REYNOLDS else fluids.friction.Colebrook(re, rough / bore)
        return float((losses + f * length / d) * v * v / (2.0 * G_M_PER_S2) - head)

    edge = LAMINAR_REYNOLDS * WATER_10C_M2_PER_S / d
    if excess(edge * (1 - 1e-12)) > 0:
        v = brentq(excess, 1e-12, edge * (1 - 1e-12), rtol=1e-14, xtol=1e-16)
    elif excess(edge) > 0:
        v = edge  # between: the turbulent root lies lower
    else:
        v = brentq(excess, edge, 100.0, rtol=1e-14, xtol=1e-16)
    return float(v) * math.pi / 4.0 * d * d * 1000.0


def test_discharge_against_fluids() -> None:
    """1200 ducts, heads 0.01 mm to 10 m, in all three regimes: 1e-8 against bisection."""
    rng = np.random.default_rng(5)
    n = 1200
    bore = rng.uniform(20.0, 200.0, n)
    length = 10 ** rng.uniform(-1, 2.5, n)
    rough = 10 ** rng.uniform(-3, 0.5, n)
    head = 10 ** rng.uniform(-5, 1, n)
    got = discharge_l_per_s(Ducts(bore, length, rough), head)
    wanted = [
        _by_library(*(float(v) for v in row)) for row in zip(head, bore, length, rough, strict=True)
    ]
    assert got == pytest.approx(np.array(wanted), rel=1e-8)
    speed = got / 1000.0 / (free_area_mm2(bore, 0.0) * 1e-6)
    re = speed * bore / 1000.0 / WATER_10C_M2_PER_S
    assert (re < 2039).any()
    assert (np.abs(re - 2040) < 1e-6).any()
    assert (re > 2041).any()


def test_short_duct_is_a_short_tube() -> None:
    """Without length Cd = 1/sqrt(0.5 + 1.0) = 0.8165, the handbook value of a short tube."""
    area = math.pi / 4 * 0.1**2
    want = 0.8165 * area * math.sqrt(2 * 9.81 * 2.0) * 1000.0
    assert discharge_l_per_s(Ducts(100.0, 0.0, 0.1), 2.0) == pytest.approx(want, rel=5e-5)


def test_flow_turns_with_the_head_and_never_falls_as_it_grows() -> None:
    """Signs follow the head; over 6000 heads from 1e-7 to 10 m the flow never falls."""
    ducts = Ducts(60.0, 80.0, 0.05)
    head = np.concatenate([[0.0], np.logspace(-7, 1, 6000)])
    flow = discharge_l_per_s(ducts, head)
    assert flow[0] == 0.0
    assert (np.diff(flow) >= 0.0).all()
    assert discharge_l_per_s(ducts, -head) == pytest.approx(-flow, abs=0.0)


def test_shapes_and_sum_per_room() -> None:
    """Shapes broadcast; blocks do not matter; ducts of one room add up, an unknown one shows."""
    bore = np.linspace(40.0, 160.0, 20_000).reshape(4, 5000)
    flow = discharge_l_per_s(Ducts(bore, 12.0, 0.1), np.full((4, 1), 0.7))
    assert flow.shape == (4, 5000)
    one_by_one = [discharge_l_per_s(Ducts(b, 12.0, 0.1), 0.7) for b in bore[2, ::999]]
    assert np.array(one_by_one) == pytest.approx(flow[2, ::999], rel=1e-14)
    rooms = room_inflow_l_per_s([0, 2, 2, 3], [1.5, 2.0, 0.25, np.nan], rooms_count=5)
    assert rooms[:3].tolist() == [1.5, 0.0, 2.25]
    assert np.isnan(rooms[3])
    assert rooms[4] == 0.0

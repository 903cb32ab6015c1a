"""Quantities with a range: closed forms against seeded draws and hand calculations.

The doubts of single readings are house rules; what is checked here is what is made of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.core.doubts import parts_text
from pipeline.core.spread import Z90, p90, total
from pipeline.design import design
from pipeline.tables import Tables
from tests.unit.design.conftest import survey, wide

Run = Callable[..., Tables]
DRAWS = 200_000


@pytest.fixture
def run(root: Any) -> Run:
    """Design a survey with the example materials under the clean sample's policy."""
    from pipeline.core.materials import load
    from pipeline.core.settings_file import load as load_settings

    settings = load_settings(root / "configs" / "clean.toml")
    materials = wide(load(root / "configs" / "materials_example.toml"))

    def go(**changes: Any) -> Tables:
        return design(survey(**changes), settings, materials=materials)

    return go


def _p90_of(run: Run, **changes: Any) -> tuple[float, float, float]:
    row = run(**changes)["designs"].iloc[0]
    return row["sealant_ml"], row["sealant_p50_ml"], row["sealant_p90_ml"]


def test_normal_point() -> None:
    """90 % point of the normal distribution: 1.2816 (any table)."""
    assert pytest.approx(1.2816, abs=5e-5) == Z90


@pytest.mark.parametrize(
    ("method", "u_mm"), [("calliper", 0.5), ("rule", 1.5), ("records", 3.0), ("judged", 5.0)]
)
def test_blank_bore(run: Run, method: str, u_mm: float) -> None:
    """Blank 125 mm bore, 20 mm: P90 of pi/4 D^2 t over 200,000 draws of D, within 1 % of the gap."""
    ml, middle, high = _p90_of(run, ends=[{"bore_method": method}])
    rng = np.random.default_rng(8)
    drawn = math.pi / 4.0 * rng.normal(125.0, u_mm, DRAWS) ** 2 * 20.0 * 1.15 / 1000.0
    assert middle == ml
    # second order of the bore is left out: +(u/D)^2 of the mean, 0.5 ml at 5 mm
    assert high == pytest.approx(np.quantile(drawn, 0.9), abs=0.02 * (high - ml) + 0.6 * u_mm / 5.0)
    assert middle == pytest.approx(np.quantile(drawn, 0.5), rel=0.002)


def test_three_cables_of_one_row_are_wrong_alike(run: Run) -> None:
    """125 mm by rule, a row of three 33 mm cables by gauge card (u 1 mm), all seen.

    By hand: dA = pi/2 x 125 x 1.5 = 294.5 mm2 (bore), 3 x pi/2 x 33 x 1 = 155.5 mm2 (one reading
    for all three); together 333.1 mm2; x 20 mm x 1.15 x 1.2816 = 9.82 ml above the middle.
    """
    ml, _, high = _p90_of(
        run,
        ends=[{"contents": "cables", "bore_method": "rule"}],
        cables=[{"cable_count": 3, "diameter_mm": 33.0, "size_method": "gauge card"}],
    )
    assert high - ml == pytest.approx(9.82, abs=0.01)


def test_seen_in_part_adds_a_cable_of_doubt(run: Run) -> None:
    """The same end seen in part: one cable of 33 mm more or less, 855.3 mm2, joins as a square.

    By hand: sqrt(333.1^2 + 855.3^2) = 917.9 mm2; x 23 x 1.2816 / 1000 = 27.06 ml.
    """
    ml, _, high = _p90_of(
        run,
        ends=[{"contents": "cables", "bore_method": "rule", "seen": "part"}],
        cables=[{"cable_count": 3, "diameter_mm": 33.0, "size_method": "gauge card"}],
    )
    assert high - ml == pytest.approx(27.06, abs=0.02)


def test_a_worse_reading_never_narrows_the_range(run: Run) -> None:
    """Calliper, rule, records, judged, blank: each at least as wide as the one before."""
    gaps = []
    for method in ("calliper", "rule", "records", "judged", None):
        ml, _, high = _p90_of(run, ends=[{"bore_method": method}])
        gaps.append((high - ml) / ml)
    assert np.all(np.diff(gaps) >= -1e-12)
    assert gaps[0] > 0.0


def test_layer_by_bending_grows_with_the_bore(run: Run) -> None:
    """Where bending decides, t goes with D: ml with D^3, so that the gap is 3 u / D, not 2 u / D."""
    ml, _, high = _p90_of(run, ends=[{"bore_method": "rule", "water_now": "damp"}],
                          reach=[{"rarest_level_m": 15.0}])  # fmt: skip
    assert (high - ml) / ml == pytest.approx(1.2816 * 3.0 * 1.5 / 125.0, rel=1e-3)


def _rows(*rows: tuple[float, float, dict[str, float]]) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {"quantity": q, "quantity_p90": p90(q, own, shared), "quantity_own_u": own,
             "quantity_shared": parts_text(shared.items()) or None}
            for q, own, shared in rows
        ]
    )  # fmt: skip


def test_total_of_independent_parts_is_a_root_of_squares() -> None:
    """Own doubts 3 and 4: 5 together (Pythagoras), not 7."""
    got = total(_rows((100.0, 3.0, {}), (50.0, 4.0, {})))
    assert got["quantity"] == 150.0
    assert got["quantity_p90"] == pytest.approx(150.0 + 1.28155 * 5.0, abs=1e-4)


def test_total_of_shared_parts_adds_them_first() -> None:
    """Shared 2 + 2 of one name are 4, of two names sqrt 8; drawn numbers agree."""
    one = total(_rows((100.0, 3.0, {"S1 rule": 2.0}), (50.0, 0.0, {"S1 rule": 2.0})))
    two = total(_rows((100.0, 3.0, {"S1 rule": 2.0}), (50.0, 0.0, {"S2 rule": 2.0})))
    assert one["quantity_p90"] == pytest.approx(150.0 + 1.28155 * math.sqrt(9 + 16), abs=1e-4)
    assert two["quantity_p90"] == pytest.approx(150.0 + 1.28155 * math.sqrt(9 + 8), abs=1e-4)
    rng = np.random.default_rng(5)
    common, own = rng.normal(0.0, 2.0, DRAWS), rng.normal(0.0, 3.0, DRAWS)
    drawn = 150.0 + own + common + common
    assert one["quantity_p90"] == pytest.approx(np.quantile(drawn, 0.9), abs=0.06)


def test_total_lies_between_means_and_summed_p90s() -> None:
    """Never below the sum of the middles, never above the summed P90s; equal when all is shared."""
    rng = np.random.default_rng(17)
    for _ in range(200):
        rows = [
            (float(rng.uniform(1, 400)), float(rng.uniform(0, 30)),
             {str(rng.choice(["a", "b"])): float(rng.uniform(0.1, 20))})
            for _ in range(int(rng.integers(2, 9)))
        ]  # fmt: skip
        frame = _rows(*rows)
        high = total(frame)["quantity_p90"]
        assert frame["quantity"].sum() <= high <= frame["quantity_p90"].sum() + 1e-9
    same = _rows((10.0, 0.0, {"a": 1.0}), (20.0, 0.0, {"a": 3.0}))
    assert total(same)["quantity_p90"] == pytest.approx(same["quantity_p90"].sum())


def test_totals_of_totals_are_the_total() -> None:
    """Adding by site and then the sites gives the same as adding all at once."""
    rows = [(10.0, 1.0, {"S1 rule": 2.0}), (20.0, 2.0, {"S1 rule": 1.0, "all": 1.0}),
            (30.0, 1.5, {"S2 rule": 2.0, "all": 2.0}), (5.0, 0.5, {"S2 rule": 0.5})]  # fmt: skip
    parts = [total(_rows(*rows[:2])), total(_rows(*rows[2:]))]
    assert total(pd.DataFrame(parts))["quantity_p90"] == pytest.approx(
        total(_rows(*rows))["quantity_p90"], rel=1e-5
    )


def test_unseen_ends_share_the_doubt_of_their_mean(run: Run) -> None:
    """Two counted ends beside three seen ones: together wider than two independent ends.

    Seen 90, 118, 125 mm blank: s = spread of 146.3, 251.5, 282.3 ml (n - 1). Own s each, shared
    s / sqrt 3 each: total sqrt(2 s^2 + (2 s / sqrt 3)^2) = s sqrt(10 / 3), by hand.
    """
    ends: list[dict[str, Any]] = [
        {"end_id": f"D{i}", "bore_mm": d} for i, d in enumerate((90.0, 118.0, 125.0), start=1)
    ]
    ends += [{"end_id": f"D{i}", "seen": "counted only", "bore_mm": None} for i in (4, 5)]
    pieces = run(ends=ends)["pieces"]
    mine = pieces[pieces["end_id"].isin(["D4", "D5"]) & (pieces["item_id"] == "sealant-310")]
    s = np.std([math.pi / 4 * d**2 * 0.023 for d in (90.0, 118.0, 125.0)], ddof=1)
    got = total(mine)
    assert got["quantity_p90"] - got["quantity"] == pytest.approx(
        1.28155 * s * math.sqrt(10 / 3), rel=1e-4
    )
    assert got["quantity_p90"] - got["quantity"] < 2 * 1.28155 * s * math.sqrt(4 / 3)

"""Money by site: parts of the order lines by firm need, to the minor unit, by hand and for any numbers."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.publish.schedule_sites import by_site


def _need(site: str, quantity: float, **more: Any) -> dict[str, Any]:
    return {
        "region": "North", "month": "2026-05", "item_id": "label", "site_id": site,
        "counted_by": "end", "firmness": "firm", "belongs_to": "chosen package",
        "quantity": quantity, "quantity_p90": quantity, "quantity_own_u": 0.0,
        "quantity_shared": None, "unit": "piece", **more,
    }  # fmt: skip


def _line(line_minor: int | None, month: str = "2026-05", **more: Any) -> dict[str, Any]:
    return {
        "region": "North", "month": month, "item_id": "label", "line_minor": line_minor,
        "key": f"North / {month} / label", **more,
    }  # fmt: skip


def _by_site(needs: list[dict[str, Any]], lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = by_site(pd.DataFrame(needs), pd.DataFrame(lines)).to_dict(
        "records"
    )
    return rows


def test_a_hundred_among_three() -> None:
    """100.00 for three equal needs: due 33.33, 66.67, 100.00, so 33.33 + 33.34 + 33.33."""
    rows = _by_site([_need(s, 7) for s in ("S1", "S2", "S3")], [_line(10000)])
    assert [r["money_minor"] for r in rows] == [3333, 3334, 3333]
    assert [r["lines_minor"] for r in rows] == [10000] * 3


def test_months_are_bought_together_and_crews_are_not_shared_out() -> None:
    """A site of June bears its part of what was bought in May; what crews need is a row of its own."""
    needs = [
        _need("S1", 1),
        _need("S2", 2, month="2026-06"),
        _need("crew", 1, counted_by="crew-day"),
    ]
    rows = _by_site(needs, [_line(800), _line(0, "2026-06")])
    assert {r["site_id"]: r["money_minor"] for r in rows} == {
        "S1": 200, "S2": 400, "all crews": 200,
    }  # fmt: skip


def test_what_waits_bears_no_money_and_stands_apart() -> None:
    """Held of the chosen package and of a later step are two columns, without money."""
    needs = [
        _need("S1", 4),
        _need("S2", 5, firmness="held"),
        _need("S2", 6, firmness="held", belongs_to="later step"),
        _need("S2", 7, firmness="provisional", belongs_to="later step", quantity_p90=9.0),
    ]
    one, two = _by_site(needs, [_line(500)])
    assert (one["firm"], one["money_minor"]) == (4, 500)
    assert (two["firm"], two["held"], two["held_later"]) == (0, 5, 6)
    assert (two["provisional"], two["provisional_later"]) == (0, 7)
    assert (two["money_minor"], two["words"]) == (0, "nothing firm: not ordered")


def test_no_price_and_stock_are_two_words() -> None:
    """A month without a price is not in the money and is named; nothing bought is said to be so."""
    (row,) = _by_site([_need("S1", 4)], [_line(500), _line(None, "2026-06")])
    assert (row["money_minor"], row["words"]) == (
        500,
        "no price in 2026-06: that is not in the money",
    )
    (row,) = _by_site([_need("S1", 4)], [_line(0)])
    assert (row["money_minor"], row["words"]) == (0, "from stock: nothing is bought")


@given(
    st.lists(st.floats(0.001, 1e6), min_size=1, max_size=30),
    st.lists(st.integers(0, 10**9), min_size=1, max_size=4),
)
def test_any_parts_tie_to_the_lines(needs: list[float], lines: list[int]) -> None:
    """Whatever needs and prices: no part is below zero, none a unit off its share, all add up."""
    rows = _by_site(
        [_need(f"S{n:02d}", q) for n, q in enumerate(needs)],
        [_line(m, f"2026-{n + 1:02d}") for n, m in enumerate(lines)],
    )
    assert sum(r["money_minor"] for r in rows) == sum(lines)
    assert all(r["money_minor"] >= 0 for r in rows)
    for row, need in zip(rows, needs, strict=True):
        share = sum(lines) * need / sum(needs)
        assert row["money_minor"] == pytest.approx(share, abs=1.01)

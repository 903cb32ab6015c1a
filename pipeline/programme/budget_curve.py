"""What less or more money would avoid: the choice again under parts of every budget."""

from __future__ import annotations

from typing import Any, Final

from pipeline.programme.choosing import Decided, Ground, decide

Row = dict[str, Any]
PARTS: Final = (0.0, 0.2, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.5)
FEW_PARTS: Final = (0.0, 0.4, 0.6, 0.8, 1.0, 1.2)
_MANY: Final = 3_000  # packages of a region: above, the curve has fewer points
EVERY: Final = "all regions"


def budget_curve_rows(ground: Ground, packages: list[Row], decided: Decided) -> list[Row]:
    """Rows of `budget_curve`: by region and part of the money, and all regions together.

    Parameters
    ----------
    ground : Ground
    packages : list of dict
        Rows of `packages`.
    decided : Decided
        The choice under the budgets as they are.

    Returns
    -------
    list of dict

    Notes
    -----
    Every budget year of a region gets the same part of its money; crew-days stay. A plan that less
    money pays for is never given up for a worse one under more money.
    """
    rows: list[Row] = []
    for region in sorted(decided.purses):
        mine = [p for p in packages if p["region"] == region]
        parts = PARTS if len(mine) <= _MANY else FEW_PARTS
        rows += _of_region(ground, mine, decided, region=region, parts=parts)
    return rows + _together(rows)


def _of_region(
    ground: Ground, mine: list[Row], decided: Decided, *, region: str, parts: tuple[float, ...]
) -> list[Row]:
    now = {b for b, c in decided.chosen.items() if c.package["region"] == region}
    whole = int(decided.purses[region].money.sum())
    best: Decided | None = None
    rows = []
    for part in parts:
        if part == 1.0:
            plan = decided
        else:
            plan = decide(ground, mine, money_frac=part, regions=(region,))
            if best is not None and plan.value_minor(region) < best.value_minor(region):
                plan = best
        best = plan
        then = {b for b, c in plan.chosen.items() if c.package["region"] == region}
        rows.append(
            {
                "region": region,
                "money_frac": part,
                "money_minor": round(whole * part),
                "spent_minor": plan.cost_minor(region),
                "pv_avoided_minor": plan.value_minor(region),
                "pv_change_minor": plan.value_minor(region) - decided.value_minor(region),
                "buildings_count": len(then),
                "dropped_building_ids": ";".join(sorted(now - then)) or None,
                "added_building_ids": ";".join(sorted(then - now)) or None,
            }
        )
    return rows


def _together(rows: list[Row]) -> list[Row]:
    """All regions at the same part, where every region has that part."""
    regions = {r["region"] for r in rows}
    out = []
    for part in sorted({r["money_frac"] for r in rows}):
        mine = [r for r in rows if r["money_frac"] == part]
        if len(mine) != len(regions):
            continue
        sums = {
            n: sum(r[n] for r in mine)
            for n in (
                "money_minor", "spent_minor", "pv_avoided_minor", "pv_change_minor",
                "buildings_count",
            )
        }  # fmt: skip
        names = {
            n: ";".join(sorted(b for r in mine for b in (r[n] or "").split(";") if b)) or None
            for n in ("dropped_building_ids", "added_building_ids")
        }
        out.append({"region": EVERY, "money_frac": part, **sums, **names})
    return out

"""What is settled and what it costs: the choice again without each fix and each region's least."""

from __future__ import annotations

import dataclasses
from typing import Any

from pipeline.core.money import words
from pipeline.core.settings import Fixed, Settings
from pipeline.programme.choosing import Decided, Ground, decide
from pipeline.programme.fixes import Fixes, said

Row = dict[str, Any]


def settled_rows(ground: Ground, packages: list[Row], decided: Decided) -> list[Row]:
    """Rows of `settled`: every fix and least number, with the loss avoided that it costs.

    Parameters
    ----------
    ground : Ground
    packages : list of dict
        Rows of `packages`.
    decided : Decided
        The choice with everything that is settled.

    Returns
    -------
    list of dict

    Notes
    -----
    Each row takes back one thing and keeps the others; what two of them cost together is not the
    sum of the two rows. The last row takes back everything.
    """
    rows = []
    kept = list(ground.fixes.fixed)
    for number, fixed in enumerate(sorted(ground.settings.programme.fixed, key=_key), start=1):
        base: Row = {
            "row_no": number,
            "what": fixed.what,
            "site_id": fixed.site_id,
            "not_before": None if fixed.not_before is None else fixed.not_before.isoformat(),
            "because": fixed.because,
        }
        if fixed not in kept:
            rows.append({**base, "is_kept": False, "words": "the site is not in this run"})
            continue
        region = ground.sites[fixed.site_id]["region"]
        free = _free(ground, ground.fixes.without(kept.index(fixed)))
        base["region"] = str(region)
        met = _is_kept(ground, packages, decided, fixed)
        rows.append({**base, **_cost(free, packages, decided, str(region)), **met})
    for least in sorted(ground.settings.programme.region_minimum, key=lambda m: m.region):
        others = tuple(m for m in ground.fixes.minimum if m[0] != least.region)
        free = _free(ground, dataclasses.replace(ground.fixes, minimum=others))
        done = sum(c.package["region"] == least.region for c in decided.chosen.values())
        rows.append(
            {
                "row_no": len(rows) + 1,
                "what": f"at least {least.buildings_count} buildings",
                "region": least.region,
                "because": least.because,
                **_cost(free, packages, decided, least.region),
                "is_kept": done >= least.buildings_count,
                "words": f"{done} buildings are in the programme",
            }
        )
    if len(rows) > 1:
        free = _free(ground, Fixes())
        rows.append(
            {
                "row_no": len(rows) + 1,
                "what": "everything together",
                "because": "all rows above taken back at once",
                **_cost(free, packages, decided, None),
                "is_kept": all(r["is_kept"] for r in rows),
                "words": None,
            }
        )
    return rows


def _key(fixed: Fixed) -> tuple[str, str]:
    return fixed.site_id, fixed.what


def _free(ground: Ground, fixes: Fixes) -> Ground:
    """The same ground with other fixes, in the settings too, which know the days to wait for."""
    programme = ground.settings.programme.model_copy(update={"fixed": fixes.fixed})
    settings: Settings = ground.settings.model_copy(update={"programme": programme})
    return dataclasses.replace(ground, settings=settings, fixes=fixes)


def _cost(free: Ground, packages: list[Row], decided: Decided, region: str | None) -> Row:
    other = decide(free, packages, regions=None if region is None else (region,))
    mine, without = decided.value_minor(region), other.value_minor(region)
    return {
        "pv_with_minor": mine,
        "pv_without_minor": without,
        "pv_lost_minor": max(0, without - mine),
        "cost_with_minor": decided.cost_minor(region),
        "cost_without_minor": other.cost_minor(region),
    }


def _is_kept(ground: Ground, packages: list[Row], decided: Decided, fixed: Fixed) -> Row:
    """Whether the choice keeps a fix, and the words if it does not."""
    mine = [c for c in decided.chosen.values() if str(c.package["site_id"]) == fixed.site_id]
    if fixed.what != "do it":
        return {"is_kept": True, "words": said(fixed)}
    wanted = {
        str(p["building_id"]): p
        for p in packages
        if str(p["site_id"]) == fixed.site_id
        and p["gain"] in ("benefit", "up to", "benefit unknown")
    }
    done = {str(c.package["building_id"]) for c in mine}
    missing = sorted(set(wanted) - done)
    if not wanted:
        return {"is_kept": False, "words": "no package of the site gains anything"}
    if missing:
        cheapest = min(
            int(p["cost_minor"]) for p in packages if str(p["building_id"]) == missing[0]
        )
        price = words(cheapest, ground.settings.programme.currency)
        return {
            "is_kept": False,
            "words": f"no room in the budgets for {', '.join(missing)} (from {price} on)",
        }
    return {"is_kept": True, "words": said(fixed)}

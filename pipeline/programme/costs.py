"""Cost of sealing a set of ends: material at list price, crew hours, site cost once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pipeline.core.buying import Buying
from pipeline.core.materials import Materials
from pipeline.core.money import minor, up_minor
from pipeline.core.settings import Settings


@dataclass(frozen=True)
class Cost:
    """Cost of one package (minor units), hours and crew-days; items that have no price."""

    material_minor: int
    labour_minor: int
    site_cost_minor: int
    crew_hours_h: float
    crew_days: float
    without_price: tuple[str, ...]

    @property
    def cost_minor(self) -> int:
        """Sum of the three."""
        return self.material_minor + self.labour_minor + self.site_cost_minor


class CostBook:
    """Costs of ends, looked up once and summed per package.

    Parameters
    ----------
    tables : mapping of DataFrame
        designs, pieces.
    settings : Settings
        Crew hours and rates, planning date.
    materials, buying
        Items that are counted by crew-day and by site, and list prices.
    """

    def __init__(
        self,
        tables: Mapping[str, Any],
        settings: Settings,
        *,
        materials: Materials,
        buying: Buying,
    ) -> None:
        self._crews = settings.crews
        self._currency = settings.programme.currency
        self._price = {
            i: buying.list_price_minor(i, settings.planning_date) for i in materials.items
        }
        designs = tables["designs"]
        self.hours_h = {
            str(e): 0.0 if pd.isna(h) else float(h)
            for e, h in zip(designs["end_id"], designs["hours_h"], strict=True)
        }
        self._pieces: dict[str, list[tuple[str, float]]] = {}
        counted_per_end: set[str] = set()
        for end, item, quantity in zip(
            tables["pieces"]["end_id"],
            tables["pieces"]["item_id"],
            tables["pieces"]["quantity"],
            strict=True,
        ):
            counted_per_end.add(str(item))
            if not pd.isna(quantity):
                self._pieces.setdefault(str(end), []).append((str(item), float(quantity)))
        crew = settings.crews.crew_size
        self._shared = [
            (i.id, i.counted_by, i.quantity * (crew if i.per_person else 1))
            for i in materials.item
            if i.counted_by in ("crew-day", "site") and i.id not in counted_per_end
        ]

    def of(self, end_ids: Iterable[str]) -> Cost:
        """Cost of a package: its ends, one set-up, one site cost.

        Material is the unrounded need at the lowest list price, rounded up once to minor units;
        packs, breaks and spares are the buyer's matter and stand on the order lines.
        """
        ends = list(end_ids)
        hours = sum(self.hours_h.get(e, 0.0) for e in ends) + self._crews.setup_hours
        days = hours / self._crews.hours_per_day
        need: dict[str, float] = {}
        for end in ends:
            for item, quantity in self._pieces.get(end, ()):
                need[item] = need.get(item, 0.0) + quantity
        for item, level, quantity in self._shared:
            need[item] = need.get(item, 0.0) + quantity * (days if level == "crew-day" else 1.0)
        missing = sorted(i for i in need if self._price.get(i) is None)
        material = sum(q * (self._price.get(i) or 0.0) for i, q in sorted(need.items()))
        return Cost(
            material_minor=up_minor(material),
            labour_minor=minor(hours * self._crews.cost_per_hour, self._currency),
            site_cost_minor=minor(self._crews.site_cost, self._currency),
            crew_hours_h=hours,
            crew_days=days,
            without_price=tuple(missing),
        )

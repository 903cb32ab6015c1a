"""What each kind of input reaches first: tables, columns and rows; the chain goes on from there."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from pipeline.publish.compare_folder import SURVEY, Row
from pipeline.tables import REGISTRY

Where = Callable[[Row], bool]

COST: Final = frozenset(
    {"material_minor", "labour_minor", "site_cost_minor", "crew_hours_h", "crew_days"}
)
COST_SUM: Final = frozenset({"cost_minor", "ratio"})
CHOSEN: Final = frozenset({"rank", "is_chosen", "package_id", "year", "left_out_reason", "reason"})
# what a filler of other sizes cannot change: whether a seal is needed, and the water on it
_NO_HEAD: Final = frozenset(REGISTRY["designs"].names) - {
    "is_needed", "need_reason", "design_head_m", "head_from", "shear_kpa", "bending_kpa",
}  # fmt: skip
POSITION: Final = frozenset({"x_m", "y_m", "plan_u_m", "position_from", "region"})


def _any(row: Row) -> bool:
    del row
    return True


@dataclass(frozen=True)
class Touch:
    """Rows of a table, and columns of them (none named = all), that an input goes into itself."""

    table: str
    columns: frozenset[str] = frozenset()
    where: Where = _any

    def reaches(self, row: Row) -> tuple[str, ...]:
        """Differing columns of a row that the input goes into."""
        if self.table not in ("*", row.table) or not self.where(row):
            return ()
        return tuple(c for c in row.columns if not self.columns or c in self.columns)


EVERYTHING: Final = (Touch("*"),)


def _all(*tables: str) -> tuple[Touch, ...]:
    return tuple(Touch(t) for t in tables)


def holds(column: str, value: str) -> Where:
    """Rows that hold a value in a column, before or after."""
    return lambda row: value in row.pair(column)


def _says(column: str, words: str) -> Where:
    return lambda row: any(words in text for text in row.pair(column))


def source_touches(source_id: str) -> tuple[Touch, ...]:
    """What a flood source goes into."""
    return (Touch("floods", where=holds("source_id", source_id)),)


def _policy(key: str) -> tuple[Touch, ...]:
    """A key of the flood policy: sites that take it from there, and street chambers."""
    name = key.rpartition(".")[2]
    column = frozenset({"design_aep_per_year" if name == "design_aep" else name})
    section = key.rpartition(".")[0]
    own = Touch("policies", column, _says("origin", f"{name} from [{section}]"))
    if section != "flood":
        return (own,)
    return (own, *(Touch(t, where=_no_site) for t in ("reach", "reach_sources")))


def _no_site(row: Row) -> bool:
    return "" in (row.pair("site_id"))


def budget_touches(region: str, year: str) -> tuple[Touch, ...]:
    """A budget: the plan of its region and year, and what is chosen in the region."""
    return (
        Touch("plans", where=lambda r: holds("region", region)(r) and holds("year", year)(r)),
        Touch("choices", CHOSEN, holds("region", region)),
    )


_DATED: Final = _all(
    "levels", "links", "reach", "reach_sources", "designs", "packages", "choices", "plans",
    "crew_days", "needs", "order_lines", "closing_lines",
)  # fmt: skip
_CREW: Final = (
    *_all("crew_days", "needs", "order_lines", "closing_lines", "resurvey"),
    Touch("packages", COST | COST_SUM),
    Touch("designs", frozenset({"hours_h"})),
)
_LOSS: Final = (Touch("packages", frozenset()),)
# key of the settings (a pattern) -> what it goes into; the first that fits holds
_KEYS: Final[tuple[tuple[str, tuple[Touch, ...]], ...]] = (
    (
        r"flood\.k",
        _all(
            "levels",
            "reach",
            "reach_sources",
            "packages",
            "closing_lines",
            "site_shifts",
            "resurvey",
        ),
    ),
    (r"flood\.(reference_water_m|ring_cells|hole_cells)", _all("floods", "ground")),
    (r"flood\.(link_radius_m)", _all("links", "reach", "reach_sources")),
    (r"flood\.groundwater", _all("floods", "links", "reach", "reach_sources")),
    (r"flood\.model_age_years", ()),
    (r"ground\..*", _all("ground", "floods", "levels", "reach", "reach_sources")),
    (r"reference\..*", _all(*SURVEY, "levels", "floods", "ground", "links")),
    (r"surveys\.seal_age_years", _all("links", "designs")),
    (r"surveys\.survey_age_years", _all("levels", "designs")),
    (r"surveys\..*", _all(*SURVEY, "levels", "floods")),
    (r"design\..*", _all("designs", "pieces", "closing_lines")),
    (r"value\.asbestos_year", _all("designs", "pieces", "ends", "entries", "chambers")),
    (r"value\..*", _LOSS),
    (r"crews\.survey_visit_cost", _all("resurvey")),
    (r"crews\.confined_space_cost", _all("closing_lines")),
    (r"crews\.site_cost", (Touch("packages", COST | COST_SUM),)),
    (r"crews\.(first_day|closed_months)", _all("crew_days", "needs", "order_lines", "packages")),
    (r"crews\..*", _CREW),
    (r"buying\.(buffer_days|transport_days)", _all("order_lines")),
    (r"programme\.planning_date", _DATED),
    (r"programme\.(fixed|region_minimum).*", (Touch("choices", CHOSEN), *_all("plans"))),
    (r"cautions\..*", (Touch("designs", frozenset({"steps", "cautions", "hold_words"})),)),
    (r"records\..*", _all("seals", "links", "designs")),
    (r"programme\.(id|name)", ()),
    (r"export\..*", ()),
)


def setting_touches(key: str) -> tuple[Touch, ...]:
    """What a key of the settings goes into; a key that is not known here may go anywhere."""
    if re.fullmatch(r"flood\.(policy\..+\.)?(design_aep|climate|defences|freeboard_m)", key):
        return _policy(key)
    if source := re.fullmatch(r"flood\.source\[(.+)\](\..*)?", key):
        return source_touches(source.group(1))
    if budget := re.fullmatch(r"budget\[(.+) (\d+)\](\..*)?", key):
        return budget_touches(budget.group(1), budget.group(2))
    for pattern, touches in _KEYS:
        if re.fullmatch(pattern, key):
            return touches
    return EVERYTHING


def price_touches(item: str, named_by: Where) -> tuple[Touch, ...]:
    """A price: packages and closing lines that need the item, and its order lines."""
    return (
        Touch("packages", frozenset({"material_minor", "assumed"}), named_by),
        Touch("closing_lines", where=named_by),
        Touch("resurvey"),
        Touch("order_lines", where=holds("item_id", item)),
    )


def material_touches(item: str, *, is_drawn: bool, named_by: Where) -> tuple[Touch, ...]:
    """An item of the materials: drawings where it fills or collars, else its own counts."""
    own = (
        Touch("pieces", where=holds("item_id", item)),
        Touch("needs", where=holds("item_id", item)),
        *price_touches(item, named_by),
    )
    return (Touch("designs", _NO_HEAD), *_all("pieces"), *own) if is_drawn else own


def stock_touches(item: str) -> tuple[Touch, ...]:
    """Stock of an item, or its line of the buyer's item table."""
    return (Touch("order_lines", where=holds("item_id", item)),)


def party_touches(column: str, value: str) -> tuple[Touch, ...]:
    """A supplier or a depot: its order lines; a depot also the ways of its crew."""
    own = (Touch("order_lines", where=holds(column, value)),)
    return own if column == "supplier_id" else (*own, *_all("crew_days"))


CALENDAR: Final = _all("order_lines", "crew_days", "needs")
POSITIONS: Final = tuple(
    Touch(t, POSITION) for t in ("sites", "buildings", "chambers")
) + _all("points", "levels")  # fmt: skip
GROUND: Final = _all("ground", "floods", "levels")
FOOTPRINTS: Final = (
    Touch("floods", where=holds("place_kind", "building")),
    Touch("ground", where=holds("place_kind", "building")),
    Touch("buildings", POSITION),
)

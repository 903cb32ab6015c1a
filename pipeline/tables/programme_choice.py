"""Hand-over tables of the stage `programme` about the choice: how firm it is and what it costs."""

from __future__ import annotations

from typing import Final

from pipeline.tables.spec import Table, flag, real, text, whole

SETTLED: Final = Table(
    "settled",
    "what is settled whatever the choice would say, and the loss avoided that it costs",
    ("row_no",),
    (
        whole("row_no", "number of the row", lo=1),
        text("what", "do it, leave it, not before, least number of a region", nullable=False),
        text("region", "region"),
        text("site_id", "site"),
        text("not_before", "ISO date before which work does not begin"),
        text("because", "the reason given", nullable=False),
        flag("is_kept", "the choice keeps it", nullable=False),
        whole("pv_with_minor", "loss avoided by the choice as it is, present value"),
        whole("pv_without_minor", "the same where only this row is taken back"),
        whole("pv_lost_minor", "what the row costs in loss avoided, never below zero", lo=0),
        whole("cost_with_minor", "money spent as it is"),
        whole("cost_without_minor", "money spent where only this row is taken back"),
        text("words", "how it is kept, or why it is not"),
    ),
)

BUDGET_CURVE: Final = Table(
    "budget_curve",
    "loss avoided by the best choice under parts of the money, by region and for all together",
    ("region", "money_frac"),
    (
        text("region", "region, or 'all regions'"),
        real("money_frac", "part of every budget's money; 1 = as it is", lo=0),
        whole("money_minor", "money of all years"),
        whole("spent_minor", "money of the chosen packages"),
        whole("pv_avoided_minor", "present value of the loss avoided by the choice"),
        whole("pv_change_minor", "the same minus that of the budgets as they are"),
        whole("buildings_count", "buildings in the choice", lo=0),
        text("dropped_building_ids", "in the choice as it is, not in this one; joined by ';'"),
        text("added_building_ids", "in this choice, not in the one as it is; joined by ';'"),
    ),
)

RANK_CASES: Final = Table(
    "rank_cases",
    "rank of every building that some case chooses: as planned, low and high loss, flood, "
    "reliability",
    ("building_id", "case"),
    (
        text("building_id", "building"),
        text("case", "'as planned', 'loss low', … 'reliability high'"),
        text("site_id", "site", nullable=False),
        flag("is_chosen", "in the choice of this case", nullable=False),
        whole("rank", "rank in this case; blank = not in it"),
        text("package_id", "package of this case"),
        whole("pv_avoided_minor", "present value of the loss avoided in this case"),
        real("ratio", "the same over cost"),
    ),
)

SITE_MONTHS: Final = Table(
    "site_months",
    "season and access of each site by month",
    ("site_id", "month"),
    (
        text("site_id", "site"),
        text("month", "year and month"),
        text("region", "region"),
        whole("open_days", "days on which a crew may work there", lo=0),
        whole("planned_days", "days on which the plan has a crew there", lo=0),
        text("state", "open, closed season, not before a day", nullable=False),
        text("access", "permit and outage in words", nullable=False),
    ),
)

ALL: Final = {t.name: t for t in (SETTLED, BUDGET_CURVE, RANK_CASES, SITE_MONTHS)}

"""Hand-over tables of the stage `programme`: packages, the choice, and crew days."""

from __future__ import annotations

from typing import Final

from pipeline.tables.spec import Table, flag, real, text, whole

GAINS: Final = ("benefit", "up to", "benefit unknown", "not known", "nothing", "structural hold")

PACKAGES = Table(
    "packages",
    "nested sets of seals per building, in order of chance",
    ("package_id",),
    (
        text("package_id", "building id + '/' + step"),
        text("building_id", "building", nullable=False),
        text("site_id", "site", nullable=False),
        text("region", "region"),
        whole("step_no", "1 is the smallest", nullable=False),
        text("end_ids", "ends to seal, joined by ';' (a later step holds all of the earlier)"),
        whole("ends_count", "number of ends", lo=0),
        whole("held_count", "ends held for order or design: no benefit until released", lo=0),
        text("gate", "opening whose closing makes this step count"),
        text("next_gate", "opening that decides after this package, in words"),
        real("before_level_m", "onset level as found"),
        real("after_level_m", "onset level after this package"),
        real("before_chance_per_year", "chance of water inside as found", lo=0, hi=1),
        text("before_bound", "'', 'more often than' or 'rarer than'"),
        real(
            "after_chance_per_year",
            "the same after this package, at central reliability",
            lo=0,
            hi=1,
        ),
        text("after_bound", "'', 'more often than' or 'rarer than'"),
        real("limit_level_m", "structural limit: outside water that walls and floor may carry"),
        text("hold", "structural hold in words; blank = none"),
        text("gain", "kind of benefit", words=GAINS, nullable=False),
        whole("loss_once_minor", "loss once water is inside (minor units)"),
        whole(
            "loss_before_minor_per_year",
            "expected annual loss as found; blank = no chance is known",
        ),
        whole(
            "loss_after_minor_per_year", "the same after, central reliability; blank = not known"
        ),
        whole("avoided_low_minor_per_year", "loss avoided at low reliability"),
        whole("avoided_minor_per_year", "loss avoided at central reliability"),
        whole("avoided_high_minor_per_year", "loss avoided at high reliability"),
        whole("pv_avoided_minor", "present value of the loss avoided over the life"),
        whole("material_minor", "material at list price"),
        whole("labour_minor", "crew hours x rate"),
        whole("site_cost_minor", "once per building visit"),
        whole("cost_minor", "sum of the three", lo=0),
        whole("cost_low_minor", "low cost by the settings' spread; blank = none stated", lo=0),
        whole("cost_high_minor", "high cost by the settings' spread; blank = none stated", lo=0),
        real("crew_hours_h", "hours of work", lo=0),
        real("crew_days", "hours over the crew's day", lo=0),
        real("ratio", "present value of loss avoided over cost"),
        whole("customers_count", "customers behind the site"),
        real(
            "dry_before_frac",
            "chance that no opening is wet in the design event as found, from the errors of levels "
            "and water that openings share; blank = not known",
            lo=0,
            hi=1,
        ),
        real("dry_after_frac", "the same after this package, at central reliability", lo=0, hi=1),
        real("dry_error_frac", "standard error of that figure (it is drawn)", lo=0),
        text("dry_bound", "'' or 'at most', where openings were not looked at"),
        text("dry_words", "what was not looked at, or why there is no figure"),
        text("assumed", "assumptions taken, in words"),
    ),
)

CHOICES = Table(
    "choices",
    "one row per building: what was chosen, or why it was left out",
    ("building_id",),
    (
        text("building_id", "building"),
        text("site_id", "site", nullable=False),
        text("region", "region"),
        whole("rank", "1 is first; blank = left out"),
        flag("is_chosen", "in the programme", nullable=False),
        text("package_id", "package chosen"),
        whole("year", "budget year"),
        whole("cost_minor", "cost of the package"),
        real("crew_days", "crew-days of the package"),
        whole("pv_avoided_minor", "present value of the loss avoided"),
        real("ratio", "present value over cost"),
        text("reason", "the reason in one line", nullable=False),
        text("left_out_reason", "why it was left out; blank = chosen"),
    ),
)

PLANS = Table(
    "plans",
    "the choice per region and year: budget, spent, gap to the bound, and the plain ratio list",
    ("region", "year"),
    (
        text("region", "region"),
        whole("year", "budget year"),
        whole("budget_minor", "money"),
        whole("spent_minor", "money of the chosen packages"),
        real("budget_crew_days", "crew-days"),
        real("spent_crew_days", "crew-days of the chosen packages"),
        whole("pv_avoided_minor", "present value of the loss avoided by the choice"),
        whole("pv_greedy_minor", "the same of a plain list by ratio"),
        whole("bound_minor", "no choice can be better than this"),
        real("gap_frac", "proven gap between choice and bound", lo=0),
        whole("packages_count", "packages on offer"),
        whole("packages_cost_minor", "cost of every building's largest package that gains"),
        text("method", "how the choice was made"),
    ),
)

CREW_DAYS = Table(
    "crew_days",
    "work by day and crew",
    ("region", "day_no", "site_id"),
    (
        text("region", "region"),
        whole("day_no", "working day of the region's crew, from 1"),
        text("work_date", "ISO date"),
        text("site_id", "site"),
        text("building_ids", "buildings, joined by ';'"),
        text("end_ids", "ends in walking order, joined by ';'"),
        whole("ends_count", "ends"),
        real("hours_h", "hours with set-up and travel", lo=0),
        real("travel_km", "straight line x factor", lo=0),
        text("note", "holds for the crew and other words"),
        text("stop_words", "warnings under which nobody works there, in words", nullable=False),
    ),
)

RESURVEY = Table(
    "resurvey",
    "openings that are too close to call: what a better survey of each would be worth",
    ("opening_id",),
    (
        text("opening_id", "opening"),
        text("site_id", "site"),
        text("method", "the survey that is thought of", nullable=False),
        real(
            "chance_above_frac",
            "chance that it gives above; 0 where the way is not proved; blank = not known",
            lo=0,
            hi=1,
        ),
        whole("saved_minor", "cost of the seal that would then be saved", lo=0),
        whole(
            "site_value_minor", "chance x cost, summed over the close openings of the site", lo=0
        ),
        whole("visit_minor", "cost of the visit; blank = not stated", lo=0),
        text("advice", "the advice in one line", nullable=False),
    ),
)

SITE_SHIFTS = Table(
    "site_shifts",
    "how many openings change class if all levels of a site were wrong by one amount",
    ("site_id", "shift_mm"),
    (
        text("site_id", "site"),
        whole("shift_mm", "positive: all levels stand higher than surveyed"),
        whole("openings_count", "openings into its buildings", lo=0),
        whole("changed_count", "of these, with another class", lo=0),
        whole("below_count", "then below", lo=0),
        whole("close_count", "then too close to call", lo=0),
        whole("above_count", "then above, as far as their own level and way are proved", lo=0),
    ),
)

ALL: Final = {t.name: t for t in (PACKAGES, CHOICES, PLANS, CREW_DAYS, RESURVEY, SITE_SHIFTS)}

"""programme.xlsx: which sites first, for how much, and why; what was left out and what is held."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from pipeline.core import contract
from pipeline.core.curves import encounter_frac
from pipeline.core.hold_words import holds_in
from pipeline.core.late_work import last_days
from pipeline.core.materials import papers_say
from pipeline.core.money import decimals, words
from pipeline.core.settings import Settings
from pipeline.publish.book import Book, Column
from pipeline.publish.programme_sheets import rank_spans, write_choice_sheets
from pipeline.tables import Tables

_PRIORITIES: Final = (
    Column("rank", "Rank", "0", 7),
    Column("site_id", "Site", "", 12),
    Column("site_name", "Name", "", 22),
    Column("building_id", "Building", "", 14),
    Column("region", "Region", "", 10),
    Column("reason", "Why it stands here", "", 60),
    Column("package_id", "Package", "", 16),
    Column("ends_count", "Ends to seal", "0", 9),
    Column("before_bound", "Bound as found", "", 11),
    Column("before_chance_per_year", "Chance a year of water inside, as found", "0.00%", 13),
    Column("after_bound", "Bound after", "", 11),
    Column(
        "after_chance_per_year", "The same after the package, failing seals counted", "0.00%", 13
    ),
    Column("next_gate", "What decides next (gate)", "", 34),
    Column("cost", "Cost", "#,##0.00", 13),
    Column(
        "pv_avoided", "Loss avoided, present value of works in their budget year", "#,##0.00", 16
    ),
    Column("ratio", "Loss avoided over cost", "0.00", 10),
    Column("crew_days", "Crew-days", "0.0", 9),
    Column("year", "Budget year", "0", 8),
    Column("last_day", "Last planned day", "", 11),
    Column("past_year_days", "Runs past its budget year by (days)", "0", 11),
    Column("rank_best", "Best rank in the cases", "0", 8),
    Column("rank_worst", "Worst rank in the cases", "0", 8),
    Column("chosen_words", "Chosen in cases", "", 9),
)
_PACKAGES: Final = (
    Column("package_id", "Package", "", 18),
    Column("site_id", "Site", "", 12),
    Column("region", "Region", "", 10),
    Column("step_no", "Step", "0", 6),
    Column("ends_count", "Ends", "0", 6),
    Column("held_count", "of these held", "0", 8),
    Column("gain", "Gain", "", 14),
    Column("gate", "Closing this makes the step count", "", 24),
    Column("next_gate", "What decides next", "", 34),
    Column("before_level_m", "Onset level as found (m)", "0.000", 11),
    Column("after_level_m", "Onset level after (m)", "0.000", 11),
    Column("before_bound", "Bound as found", "", 14),
    Column("before_chance_per_year", "Chance a year as found", "0.00%", 11),
    Column("after_bound", "Bound after", "", 14),
    Column("after_chance_per_year", "Chance a year after, failing seals counted", "0.00%", 13),
    Column("dry_bound", "Bound", "", 9),
    Column("dry_before_frac", "Chance to stay dry in the design event as found", "0.0%", 12),
    Column("dry_after_frac", "The same after", "0.0%", 9),
    Column("dry_error_frac", "give or take (standard error)", "0.0%", 10),
    Column("dry_words", "What was not looked at, or why there is no figure", "", 26),
    Column("loss_before", "Expected loss a year as found", "#,##0.00", 14),
    Column("avoided_low", "Loss avoided a year, low", "#,##0.00", 14),
    Column("avoided", "central", "#,##0.00", 14),
    Column("avoided_high", "high", "#,##0.00", 14),
    Column("pv_avoided", "Loss avoided, present value of works in the first year", "#,##0.00", 16),
    Column("material", "Material", "#,##0.00", 12),
    Column("labour", "Labour", "#,##0.00", 12),
    Column("site_cost", "Site cost", "#,##0.00", 12),
    Column("cost", "Cost", "#,##0.00", 12),
    Column("cost_low", "Cost, low", "#,##0.00", 12),
    Column("cost_high", "Cost, high", "#,##0.00", 12),
    Column("ratio", "Loss avoided over cost", "0.00", 9),
    Column("hold", "Hold", "", 40),
    Column("assumed", "Assumed", "", 40),
)
_LEFT_OUT: Final = (
    Column("site_id", "Site", "", 12),
    Column("site_name", "Name", "", 22),
    Column("building_id", "Building", "", 14),
    Column("region", "Region", "", 10),
    Column("left_out_reason", "Why it was left out", "", 90),
)
_NO_DATA: Final = (
    Column("opening_id", "Opening", "", 20),
    Column("site_id", "Site", "", 12),
    Column("building_id", "Building or chamber", "", 16),
    Column("region", "Region", "", 10),
    Column("level_class", "Class", "", 16),
    Column("way", "Way", "", 14),
    Column("reason", "Why", "", 60),
)
_RESURVEY: Final = (
    Column("opening_id", "Opening", "", 20),
    Column("site_id", "Site", "", 12),
    Column("building_id", "Building", "", 14),
    Column("region", "Region", "", 10),
    Column("margin_mm", "Margin (mm)", "0", 9),
    Column("limit_mm", "Doubt limit (mm)", "0", 9),
    Column("chance_below_frac", "Chance below the design level", "0%", 11),
    Column("chance_above_frac", "Chance that a better survey gives above", "0%", 12),
    Column("saved", "Seal that it would save", "#,##0.00", 11),
    Column("site_value", "Worth of a visit to the site", "#,##0.00", 11),
    Column("advice", "Advice for the site", "", 44),
    Column("has_pedigree", "Levels good enough to clear", "", 12),
    Column("is_proved_way", "Way proved", "", 9),
    Column("reason", "What is missing", "", 60),
)
_SEALED: Final = (
    Column("site_id", "Site", "", 12),
    Column("building_id", "Building", "", 14),
    Column("region", "Region", "", 10),
    Column("package_id", "Package chosen", "", 16),
    Column("before_level_m", "Onset level as found (m)", "0.000", 11),
    Column("after_level_m", "Onset level as sealed (m)", "0.000", 11),
    Column("before_chance_per_year", "Chance a year as found", "0.00%", 11),
    Column("after_chance_per_year", "Chance a year as sealed", "0.00%", 11),
    Column("before_life_frac", "Chance in the life as found", "0%", 11),
    Column("after_life_frac", "Chance in the life as sealed", "0%", 11),
    Column("before_bound", "Chance as found is", "", 14),
    Column("after_bound", "Chance as sealed is", "", 14),
    Column("next_gate", "What still lets water in", "", 40),
    Column("hold", "Condition", "", 40),
    Column("line_ends_count", "Cheapest closing line: ends", "0", 10),
    Column(
        "line_cost",
        "its cost (seals and entries, without what comes once per visit)",
        "#,##0.00",
        13,
    ),
    Column("wall_cost", "All ends at the wall, counted alike", "#,##0.00", 13),
    Column("line_says", "What no seal closes", "", 40),
    Column("line_rests", "What the line rests on", "", 40),
    Column("earliest_h", "Hours to the equipment as found, not sooner", "0.0", 12),
    Column("ducts_alone_h", "The same through the openings counted alone", "0.0", 12),
    Column("fill_words", "What that rests on", "", 50),
)
_HOLDS: Final = (
    Column("end_id", "End", "", 20),
    Column("site_id", "Site", "", 12),
    Column("building_id", "Building", "", 14),
    Column("region", "Region", "", 10),
    Column("hold_reach", "Reach of the hold", "", 12),
    Column("asked_who", "Who is asked", "", 30),
    Column("asked_what", "What for", "", 60),
    Column("design_head_m", "Head the seal is designed for (m)", "0.00", 10),
    Column("head_from", "What gives that head", "", 34),
    Column("bore_mm", "Bore (mm)", "0", 8),
    Column("free_circle_mm", "Largest free circle (mm)", "0.0", 9),
    Column("hold_words", "What must be released first", "", 60),
    Column("not_designed_reason", "Not designed because", "", 40),
    Column("firmness", "Quantity counts as", "", 12),
)
_CONSENTS: Final = (
    Column("owner", "Owner", "", 22),
    Column("thing_kind", "What", "", 10),
    Column("thing_id", "Id", "", 18),
    Column("region", "Region", "", 12),
    Column("site_ids", "Sites", "", 20),
    Column("words", "What is asked", "", 56),
    Column("end_ids", "Ends that wait", "", 40),
    Column("ends_count", "Number of them", "0", 8),
)
_OLD_SEALS: Final = (
    Column("seal_id", "Seal", "", 18),
    Column("end_id", "End", "", 20),
    Column("region", "Region", "", 10),
    Column("kind", "Kind", "", 14),
    Column("condition", "Condition", "", 12),
    Column("proposal", "Surveyor proposes", "", 12),
    Column("decision", "What is done", "", 12),
    Column("why", "Why", "", 44),
    Column("waste_words", "Waste of the end", "", 36),
    Column("hold_reach", "Widest hold of the end", "", 12),
    Column("removal_h", "Hours to take out", "0.0", 10),
)
_COUNTS: Final = (
    Column("file", "File", "", 30),
    Column("sheet", "Sheet", "", 18),
    Column("rows_count", "Rows", "0", 8),
    Column("used_count", "Used", "0", 8),
    Column("asked_count", "Used with a question", "0", 10),
    Column("refused_count", "With a value not used", "0", 10),
    Column("skipped_count", "Skipped (blank, total, heading)", "0", 12),
)
_MONEY: Final = (
    "cost",
    "pv_avoided",
    "material",
    "labour",
    "site_cost",
)


def write_programme(path: Path, tables: Tables, settings: Settings, *, run_id: str) -> None:
    """Write programme.xlsx.

    Parameters
    ----------
    path : Path
        File to write.
    tables : Tables
        Tables of a whole run.
    settings : Settings
    run_id : str
        Printed on every sheet.

    """
    currency = settings.programme.currency
    label = f"Run {run_id}, planned {settings.planning_date}. {papers_say(settings)}"
    book = Book(path, title=settings.programme.name, run_label=label)
    packages = _in_money(tables["packages"], currency)
    choices = _in_money(tables["choices"], currency).merge(
        tables["sites"][["site_id", "site_name"]], on="site_id", how="left"
    )
    chosen = choices[choices["is_chosen"].astype(bool)].merge(
        packages.drop(columns=["site_id", "building_id", "region", *_MONEY, "ratio", "crew_days"]),
        on="package_id",
        how="left",
        suffixes=("", "_package"),
    )
    sheets = (
        (
            "Priorities",
            "Which sites come first, and why",
            f"Money in {currency}. Ranked by loss avoided over cost, what is sealed already last. Gate: the next opening that "
            "decides. Step: package k of the building's ladder; each holds the one before. Past the "
            "budget year: calendar days in the plan of days; blank where no day is planned.",
            _with_last_days(chosen, tables)
            .merge(rank_spans(tables["rank_cases"]), on="building_id", how="left")
            .sort_values("rank"),
            _PRIORITIES,
        ),
        (
            "Packages",
            "What can be done at each building, in steps",
            f"A later step holds all ends of the earlier ones. Money in {currency}.",
            packages,
            _PACKAGES,
        ),
        (
            "Left out",
            "Buildings without a package in this programme",
            "",
            choices[~choices["is_chosen"].astype(bool)],
            _LEFT_OUT,
        ),
        (
            "No data",
            "Openings without a level or without a flood level",
            "Treated as reached by water until they are known; never as dry.",
            _no_data(tables),
            _NO_DATA,
        ),
        (
            "Re-survey",
            "Openings too close to call",
            "Sealed unless a better survey clears them.",
            _close(tables, currency),
            _RESURVEY,
        ),
        (
            "As found and as sealed",
            "Before and after the chosen packages",
            f"Chance in the life: at least once in {settings.value.life_years} years alike; "
            "blank beside a chance: the chance itself. Hours: from the moment that the water "
            "outside stands at the policy level, for information.",
            _with_line_and_time(_over_life(chosen, settings.value.life_years), tables, currency),
            _SEALED,
        ),
        (
            "Holds",
            "What must be released before work, order or design",
            "Nobody is asked by questions.xlsx for these: send each line to the one named in it. "
            "Where a head is assumed, measure that level first; the hold may fall away.",
            _holds(tables),
            _HOLDS,
        ),
        *_seal_sheets(tables),
        ("Counts", "Rows in = used + asked + refused", "", tables["counts"], _COUNTS),
    )
    for name, title, note, frame, columns in sheets:
        sheet = book.sheet(name, title, note, columns)
        book.table(sheet, frame, columns)
        if name == "Priorities":
            write_choice_sheets(book, tables, currency)
    _about(book, tables, settings, run_id)
    book.close()


def _seal_sheets(tables: Tables) -> tuple[tuple[str, str, str, pd.DataFrame, Any], ...]:
    """Whose consent is needed, and what is done with each seal that is there."""
    return (
        (
            "Consents",
            "Whose consent is needed before ends are sealed",
            "The ends wait as 'held': not ordered, no benefit counted, until consent is in hand.",
            tables["consents"],
            _CONSENTS,
        ),
        (
            "Old seals",
            "What is done with each seal that is there",
            "Kept only where inspected, sound, dry and rated for the head.",
            tables["old_seals"],
            _OLD_SEALS,
        ),
    )


def _with_line_and_time(frame: pd.DataFrame, tables: Tables, currency: str) -> pd.DataFrame:
    """With the cheapest closing line of each building, and the hours until water stands inside."""
    lines = tables["closing_lines"]
    lines = _in_money(lines[lines["kind"] == "building"], currency).rename(
        columns={"place_id": "building_id", "ends_count": "line_ends_count", "cost": "line_cost",
                 "all_wall_cost": "wall_cost", "cannot_close": "line_says",
                 "conditions": "line_rests"}
    )  # fmt: skip
    # a line of no ends that leaves ways open shuts nothing off: what would is not known
    is_none = lines["line_ends_count"].eq(0) & lines["line_says"].notna()
    for name in ("line_ends_count", "line_cost"):
        lines[name] = lines[name].mask(is_none)
    filling = tables["filling"].rename(columns={"words": "fill_words"})
    for other, names in (
        (lines, ["line_ends_count", "line_cost", "wall_cost", "line_says", "line_rests"]),
        (filling, ["earliest_h", "ducts_alone_h", "fill_words"]),
    ):
        frame = frame.merge(other[["building_id", *names]], on="building_id", how="left")
    return frame


def _with_last_days(chosen: pd.DataFrame, tables: Tables) -> pd.DataFrame:
    """With the last planned day of each building, and its days past the budget year."""
    found = last_days(tables["choices"], tables["crew_days"])
    mine = [found.get(str(b)) for b in chosen["building_id"]]
    return chosen.assign(
        last_day=[None if d is None else d.date.isoformat() for d in mine],
        past_year_days=pd.array([None if d is None else d.past_year_days for d in mine], "Int64"),
    )


def _over_life(frame: pd.DataFrame, years: int) -> pd.DataFrame:
    """With the chance that water comes at least once in the life of the seals."""
    out = frame.copy()
    for when in ("before", "after"):
        chance = out[f"{when}_chance_per_year"].astype("Float64").to_numpy(float, na_value=np.nan)
        out[f"{when}_life_frac"] = encounter_frac(chance, years)
    return out


def _in_money(frame: pd.DataFrame, currency: str) -> pd.DataFrame:
    """Minor units as whole currency units, under the names without `_minor`."""
    out = frame.copy()
    scale = 10 ** decimals(currency)
    for name in [c for c in out.columns if "_minor" in c]:
        short = name.replace("_minor_per_year", "").replace("_minor", "")
        out[short] = out[name].astype("Float64") / scale
    return out


def _no_data(tables: Tables) -> pd.DataFrame:
    reach = tables["reach"]
    rows = reach[reach["level_class"].isin([contract.NO_LEVEL, contract.NO_FLOOD])].copy()
    rows["building_id"] = rows["building_id"].fillna(rows["chamber_id"])
    return rows.sort_values(["site_id", "opening_id"])


def _close(tables: Tables, currency: str) -> pd.DataFrame:
    reach = tables["reach"]
    rows = reach[
        (reach["level_class"] == contract.CLOSE) & (reach["opening_kind"] != "chamber end")
    ].copy()
    for name in ("has_pedigree", "is_proved_way"):
        rows[name] = ["yes" if bool(v) else "no" for v in rows[name]]
    worth = _in_money(tables["resurvey"], currency).drop(columns=["site_id"])
    rows = rows.merge(worth, on="opening_id", how="left")
    return rows.sort_values(["site_id", "margin_mm", "opening_id"])


def _holds(tables: Tables) -> pd.DataFrame:
    designs = tables["designs"]
    rows = designs[
        designs["is_needed"].astype(bool) & (designs["hold_reach"] != contract.HOLD_NONE)
    ].sort_values(["site_id", "end_id"])
    holds = [holds_in("" if pd.isna(w) else str(w)) for w in rows["hold_words"]]
    return rows.assign(
        asked_who=["; ".join(dict.fromkeys(h.released_by for h in part)) for part in holds],
        asked_what=["; ".join(h.asked for h in part) for part in holds],
    )


def _about(book: Book, tables: Tables, settings: Settings, run_id: str) -> None:
    flood = settings.flood
    currency = settings.programme.currency
    columns = (Column("name", "What", "", 34), Column("value", "Value", "", 60))
    sheet = book.sheet("About", "How this programme was made", "", columns)
    lines: list[tuple[str, Any]] = [
        ("Programme", settings.programme.name),
        ("Run", run_id),
        ("Planning date", settings.planning_date.isoformat()),
        ("Height datum", settings.reference.vertical_datum),
        ("Coordinate system", settings.reference.working_crs),
        ("Design event, chance a year", f"{flood.design_aep:.2%}"),
        ("Climate", flood.climate),
        ("Defences", flood.defences),
        ("Freeboard", f"{flood.freeboard_m:.2f} m"),
        ("Groundwater", flood.groundwater),
        ("Doubt limit", f"{flood.k} standard deviations (one-sided 95 % at 1.645), per opening"),
        ("Loss counted", f"to {settings.value.loss_to}"),
        ("Discounting", f"{settings.value.discount.name}, {settings.value.discount.vintage}"),
        ("Life", f"{settings.value.life_years} years"),
        (
            "Reliability of a seal",
            f"{settings.value.reliability.low:.0%} / {settings.value.reliability.central:.0%} / "
            f"{settings.value.reliability.high:.0%} (low / central / high)",
        ),
        ("Materials", papers_say(settings) or str(settings.design.materials.name)),
        (
            "Cautions",
            "Treat every cable as live. Chambers are confined spaces; test for gas. Asbestos cement, "
            "fire barriers and other people's ducts stop the work until released. Local codes, "
            "permits and the owner's rules decide; licensed people do licensed work.",
        ),
    ]
    for plan in pd.DataFrame(tables["plans"]).to_dict("records"):
        lines.append(
            (
                f"Choice {plan['region']} {plan['year']}",
                f"{words(int(plan['spent_minor']), currency)} of "
                f"{words(int(plan['budget_minor']), currency)} spent; packages on offer cost "
                f"{words(int(plan['packages_cost_minor']), currency)}; loss avoided "
                f"{words(int(plan['pv_avoided_minor']), currency)} (plain list by ratio "
                f"{words(int(plan['pv_greedy_minor']), currency)}); gap to the bound "
                f"{plan['gap_frac']:.4%}; {plan['method']}",
            )
        )
    for policy in pd.DataFrame(tables["policies"]).to_dict("records"):
        lines.append((f"Policy of {policy['site_id']}", policy["origin"]))
    book.table(sheet, pd.DataFrame(lines, columns=["name", "value"]), columns)

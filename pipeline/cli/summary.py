"""The summary of a run: what was looked at, what floods, what comes first, what to buy."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.core import contract

if TYPE_CHECKING:
    from pipeline.run import RunResult

_SHOWN = 3
_FILE_LOST = ("file-18", "file-26")  # damaged, or not what its name says


def print_summary(result: RunResult, *, seconds: float) -> None:
    """Print the short summary of a run.

    Parameters
    ----------
    result : RunResult
    seconds : float
        Wall time of the whole command (s).

    """
    from rich.console import Console

    console = Console(markup=False, highlight=False)
    for line in summary_lines(result, seconds=seconds):
        console.print(line, soft_wrap=True)


def summary_lines(result: RunResult, *, seconds: float) -> list[str]:
    """The lines of the summary."""
    from pipeline.core.materials import papers_say

    tables, settings = result.tables, result.settings
    flood = settings.flood
    lines = [
        "",
        f"{settings.programme.name}, run {result.run_id}, planned {settings.planning_date}",
        f"Design event {flood.design_aep:.2%} a year, climate {flood.climate}, "
        f"{flood.defences} defences, freeboard {flood.freeboard_m:.2f} m "
        f"(sites may differ); groundwater: {flood.groundwater}.",
        *result.said,
        "",
        *_survey(tables, result.only),
        "",
        *_classes(tables),
        "",
        *_programme(tables, settings.programme.currency),
        *_records(tables),
        "",
        *(_questions(tables, result.only) if (result.folder / "questions.xlsx").exists() else []),
        *_lost_files(tables),
        "",
        *_papers(result.folder),
        papers_say(settings).capitalize(),
        f"Done in {seconds:.0f} s.",
    ]
    return [line for i, line in enumerate(lines) if line or (i and lines[i - 1])]


def _lost_files(tables: dict[str, Any]) -> list[str]:
    """Files of the survey that could not be read at all."""
    findings = tables["findings"]
    whole = findings[findings["code"].isin(_FILE_LOST) & (findings["weight"] == contract.STOP)]
    names = sorted(set(whole["file"].dropna()))
    return [f"Not read at all: {', '.join(names)}; findings.csv says why."] if names else []


def _papers(folder: Path) -> list[str]:
    """The papers that a run of this profile has written."""
    papers = (
        ("Map", "map.html"),
        ("Programme", "programme.xlsx"),
        ("Schedule", "procurement/schedule.xlsx"),
        ("Work packs", "work_packs"),
        ("Questions", "questions.xlsx"),
        ("Records", "records.xlsx"),
        ("Public", "public_summary.csv"),
    )
    return [f"{f'{name}:':<12}{folder / file}" for name, file in papers if (folder / file).exists()]


def _survey(tables: dict[str, Any], only: Sequence[str]) -> list[str]:
    from pipeline.core.counting import head_line

    ends, chambers = tables["ends"], tables["chambers"]
    if only:  # chambers of all regions carry the water and stay among the tables
        chambers = chambers[chambers["site_id"].isin(set(tables["sites"]["site_id"]))]
    unlisted = int(ends["is_unlisted"].astype(bool).sum())
    rows, found = head_line(tables["counts"]), _many(len(tables["sites"]), "site")
    if only:
        rows, found = f"Surveys of all regions: {rows}", f"Only {', '.join(only)}: {found}"
    return [
        f"{rows}.",
        f"{found}, {_many(len(tables['buildings']), 'building')}, "
        f"{_many(len(chambers), 'chamber')}, {_many(len(tables['entries']), 'entry')}, "
        f"{_many(len(ends) - unlisted, 'duct end')} listed and {unlisted} more counted but not listed.",
    ]


def _classes(tables: dict[str, Any]) -> list[str]:
    reach = tables["reach"]
    walls = reach[reach["opening_kind"] != "chamber end"]
    counts = walls["level_class"].value_counts()
    parts = [f"{int(counts.get(c, 0))} {c}" for c in contract.CLASSES]
    below = walls[walls["level_class"] == contract.BELOW]
    ducts = int((below["way"] == contract.THROUGH_DUCT).sum())
    return [
        f"Of {_many(len(walls), 'opening')} into buildings: {', '.join(parts)}.",
        f"{ducts} of those below are dry over ground and wet through ducts.",
    ]


def _programme(tables: dict[str, Any], currency: str) -> list[str]:
    from pipeline.core.late_work import late_lines
    from pipeline.core.money import words

    choices, plans, lines = tables["choices"], tables["plans"], tables["order_lines"]
    chosen = choices[choices["is_chosen"].astype(bool)].sort_values("rank")
    mine = plans[plans["region"].isin(set(choices["region"].dropna()))]  # with --only: no others
    out = [
        f"{_many(len(chosen), 'building')} chosen for "
        f"{words(int(chosen['cost_minor'].sum()), currency)} of "
        f"{words(int(mine['budget_minor'].sum()), currency)}; {len(choices) - len(chosen)} left "
        f"out, each with its reason.",
    ]
    out += [
        f"  {int(row.rank)}. {row.site_id}: {row.reason}"
        for row in chosen.head(_SHOWN).itertuples()
    ]
    out += late_lines(choices, tables["crew_days"])
    out.append(
        f"Orders (drafts): {len(lines)} lines, {words(int(lines['line_minor'].sum()), currency)}; "
        f"bought month by month {words(int(lines['alone_minor'].sum()), currency)}."
    )
    return out


def _records(tables: dict[str, Any]) -> list[str]:
    sealed, built = tables["sealed_ends"], tables["as_built"]
    if sealed.empty:
        return []
    closed = int(sealed["is_closed"].astype(bool).sum())
    opened = int(sealed["is_changed"].astype(bool).sum())
    whole = int(built["is_complete"].astype(bool).sum()) if len(built) else 0
    return [
        f"Records: {_many(len(sealed), 'end')} sealed, {closed} "
        f"{'counts' if closed == 1 else 'count'} as closed, {opened} opened again; "
        f"whole packages accepted at {whole} of {_many(len(built), 'building')}.",
        *_no_pack(tables),
    ]


def _no_pack(tables: dict[str, Any]) -> list[str]:
    from pipeline.core.made_ends import sites_without_work

    sites = sites_without_work(tables)
    if not sites:
        return []
    return [f"No work pack for {', '.join(sites)}: every chosen end is sealed by record."]


def _many(count: int, noun: str) -> str:
    """A count with its noun: '1 site', '2 sites', '3 entries'."""
    more = f"{noun[:-1]}ies" if noun.endswith("y") else f"{noun}s"
    return f"{count} {noun if count == 1 else more}"


def _questions(tables: dict[str, Any], only: Sequence[str]) -> list[str]:
    from pipeline.core.answers import is_open

    findings = tables["findings"]
    weights = findings.loc[is_open(findings), "weight"].value_counts()
    stops, asks = int(weights.get(contract.STOP, 0)), int(weights.get(contract.ASK, 0))
    whole = " (all regions)" if only else ""
    return [
        f"questions.xlsx holds {stops + asks} lines to answer{whole}: {stops} on values that were not "
        f"used, {asks} on values used with an assumption (one line may stand for several rows).",
    ]

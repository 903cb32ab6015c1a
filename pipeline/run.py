"""The order of the stages; every hand-over is checked here. Nothing else knows the order."""

from __future__ import annotations

import datetime as dt
import shutil
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.core import contract, settings_file
from pipeline.core.answers import close as close_answers
from pipeline.core.answers import is_open
from pipeline.core.buying import load as load_buying
from pipeline.core.counting import close_counts
from pipeline.core.errors import UsageError
from pipeline.core.folders import claim, next_run_folder, put_in_place
from pipeline.core.materials import load as load_materials
from pipeline.core.new_files import check_new_book
from pipeline.core.progress import Progress, silent
from pipeline.core.rules import rules
from pipeline.core.run_id import RunId, identify
from pipeline.core.settings import Settings
from pipeline.core.spelling import one_meant, read_as
from pipeline.tables import Tables, hand_over

Step = Callable[[str], Progress]
"""Called with the words of a step; gives the bar that the step moves."""

# tables that only belong to sites, and how a row of each is tied to its site
_SITE_TABLES = ("designs", "reach")


def _silent_step(words: str) -> Progress:
    del words
    return silent


@dataclass(frozen=True)
class RunResult:
    """What a run made: where, its tables, how long each step took."""

    folder: Path
    run_id: str
    tables: Tables
    seconds: Mapping[str, float]
    settings: Settings = field(repr=False)
    only: tuple[str, ...] = ()  # regions that it was made for; none = all
    said: tuple[str, ...] = ()  # how words of the call were read


def run(
    config: Path,
    *,
    out: Path | None = None,
    replace: bool = False,
    only: Sequence[str] = (),
    date: dt.date | None = None,
    step: Step = _silent_step,
) -> RunResult:
    """Do the whole job for one settings file.

    Parameters
    ----------
    config : Path
        Settings file.
    out : Path, optional
        Run folder; without it the next outputs/<programme>/run-NNN.
    replace : bool
        Whether an existing run folder may be replaced, as a whole and at the end.
    only : sequence of str
        Regions to design, choose and publish; water is followed through all of them.
    date : datetime.date, optional
        Planning date, instead of the settings' own.
    step : callable
        Told the words of each step; gives back the bar of that step.

    Returns
    -------
    RunResult

    Raises
    ------
    UsageError
        A fault of the call or the settings.
    ContractBreach
        A fault of a stage.

    """
    from pipeline.publish.profiles import check_profile

    started = time.time()
    settings = settings_file.load(config, date=date)
    only, said = _regions(settings, only)
    check_profile(settings)
    folder = out if out is not None else next_run_folder(settings.programme.id)
    aside = claim(folder, replace=replace)
    try:
        tables, run_id, seconds = compute(config, settings, only=only, step=step)
        _publish(tables, settings, aside, run_id, seconds=seconds, step=step, started=started)
        put_in_place(aside, folder, replace=replace)
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    said += tuple(f"There is no site in {region}." for region in _without_sites(tables, only))
    return RunResult(folder, run_id.short, tables, seconds, settings, only, said)


def compute(
    config: Path,
    settings: Settings,
    *,
    only: Sequence[str] = (),
    step: Step = _silent_step,
    survey: Tables | None = None,
) -> tuple[Tables, RunId, dict[str, float]]:
    """Run every computing stage, writing nothing.

    Parameters
    ----------
    config, settings
        The settings file and what it holds.
    only : sequence of str
        Regions to design and choose for.
    step : callable
        Told the words of each step.
    survey : Tables, optional
        Survey tables in place of what intake would read (for what-if runs and tests).

    Returns
    -------
    tables, run id, seconds per step

    """
    from pipeline.design import design
    from pipeline.exposure import exposure
    from pipeline.intake import intake
    from pipeline.levels import levels
    from pipeline.procurement import procurement
    from pipeline.programme import programme
    from pipeline.records import records

    seconds: dict[str, float] = {}
    materials = load_materials(settings.design.materials)
    buying = load_buying(settings)
    run_id = identify(config, settings, only)
    tables: Tables = dict(survey) if survey is not None else {}

    def stage(words: str, name: str, work: Callable[[Progress], Tables]) -> None:
        begun = time.perf_counter()
        _take_over(tables, hand_over(name, work(step(words))))
        seconds[name] = round(time.perf_counter() - begun, 3)

    if survey is None:
        stage("Reading the surveys", "intake", lambda p: intake(settings, progress=p))
    _need_sites(tables, only)
    stage("Levels and floods", "levels", lambda p: levels(tables, settings, progress=p))
    stage("Following the water", "exposure", lambda p: exposure(tables, settings, progress=p))
    if only:
        _keep_regions(tables, only)
    stage(
        "Designing seals",
        "design",
        lambda p: design(tables, settings, materials=materials, progress=p),
    )
    stage(
        "Choosing the programme",
        "programme",
        lambda p: programme(tables, settings, materials=materials, buying=buying, progress=p),
    )
    stage(
        "Counting and buying",
        "procurement",
        lambda _: procurement(tables, settings, materials=materials, buying=buying),
    )
    stage("Laying the records beside the plan", "records", lambda _: records(tables, settings))
    _close(tables)
    return tables, run_id, seconds


def not_made() -> tuple[str, ...]:
    """Codes of the checks that `check` cannot make without a settings file."""
    from pipeline.intake.checks import not_made as not_by_intake

    later = {code for code, rule in rules().items() if rule.stage in ("levels", "flood", "design")}
    return tuple(sorted({*not_by_intake(), *later}))


def check(
    files: Sequence[Path], *, config: Path | None = None, step: Step = _silent_step
) -> tuple[Tables, Settings | None]:
    """Read surveys and find their faults, with or without settings.

    Parameters
    ----------
    files : sequence of Path
        Survey files or CSV folders. With settings they replace the settings' own list.
    config : Path, optional
        Settings file; without it the checks that need one are not made.
    step : callable
        Told the words of each step.

    Returns
    -------
    tables, settings
        Survey tables, findings and counts.

    """
    from pipeline.intake import check as check_files

    missing = [str(f) for f in files if not f.exists()]
    if missing:
        raise UsageError(f"There is no file {', '.join(missing)}.", mend="Check the path.")
    if config is None:
        step("Reading the surveys")
        tables = hand_over("intake", check_files(files))
        _close(tables)
        return tables, None
    from pipeline.intake import intake
    from pipeline.levels import levels

    settings = settings_file.load(config)
    if files:
        surveys = settings.surveys.model_copy(
            update={"files": tuple(Path(f).resolve() for f in files)}
        )
        settings = settings.model_copy(update={"surveys": surveys})
    tables = hand_over("intake", intake(settings, progress=step("Reading the surveys")))
    _take_over(
        tables,
        hand_over("levels", levels(tables, settings, progress=step("Levels and floods"))),
    )
    _close(tables)
    return tables, settings


def write_blank(
    file: Path,
    *,
    phone: Path | None = None,
    records: Path | None = None,
    config: Path | None = None,
    replace: bool = False,
) -> list[Path]:
    """Write the blank survey workbook, phone form and record workbook where they are asked for.

    Parameters
    ----------
    file, phone, records : Path
        Files to write: the survey workbook, its phone form, the workbook of the records.
    config : Path, optional
        Settings whose regions, site classes and datum fill the lists.
    replace : bool
        Whether existing files may be overwritten.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    UsageError
        When a file exists or its folder does not.
    """
    from pipeline.publish.phone_form import write_phone_form
    from pipeline.publish.template import write_record_template, write_template

    wanted = [f for f in (file, phone, records) if f is not None]
    for path in wanted:
        check_new_book(path, replace=replace)
    words = {}
    if config is not None:
        settings = settings_file.load(config)
        words = {
            "@regions": settings.programme.regions,
            "@classes": settings.programme.critical_classes,
            "@datums": (settings.reference.vertical_datum,
                        *(s.datum for s in settings.reference.shift)),
        }  # fmt: skip
    write_template(file, words)
    if phone is not None:
        write_phone_form(phone, words)
    if records is not None:
        write_record_template(records)
    return wanted


def _close(tables: Tables) -> None:
    """Lay the answers beside their questions, and close the counts."""
    if "answers" in tables:
        tables["findings"] = close_answers(tables["findings"], tables["answers"])
    tables.update(close_counts(tables))


def _take_over(tables: Tables, new: Tables) -> None:
    """Add a stage's tables; findings are added to the ones before."""
    for name, frame in new.items():
        if name == "findings" and name in tables:
            parts = [f for f in (tables[name], frame) if len(f)]
            tables[name] = pd.concat(parts, ignore_index=True) if parts else frame
        else:
            tables[name] = frame


def _regions(settings: Settings, only: Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Regions as the settings spell them, and how each was read; UsageError where there is none."""
    known = settings.programme.regions
    meant = {r: one_meant(r, known) for r in only}
    unknown = [r for r, name in meant.items() if not name]
    if unknown:
        raise UsageError(
            f"There is no region {', '.join(unknown)} in this programme.",
            mend=f"Its regions are: {', '.join(known)}.",
        )
    said = tuple(line for r, name in meant.items() for line in read_as(r, name))
    return tuple(sorted(set(meant.values()))), said


def _need_sites(tables: Tables, only: Sequence[str]) -> None:
    """UsageError where none of the wanted regions has a site: there is nothing to work out."""
    if not only or not set(_without_sites(tables, only)) >= set(only):
        return
    there = sorted({str(r) for r in tables["sites"]["region"].dropna()})
    raise UsageError(
        f"There is no site in {', '.join(sorted(set(only)))}.",
        why="The surveys that were read hold sites in: " + (", ".join(there) or "no region") + ".",
        mend="Name one of these with --only, or give the survey of the region.",
    )


def _without_sites(tables: Tables, only: Sequence[str]) -> list[str]:
    """Wanted regions in which no site stands."""
    return sorted(set(only) - {str(r) for r in tables["sites"]["region"].dropna()})


def _keep_regions(tables: Tables, only: Sequence[str]) -> None:
    """Keep only the sites of the wanted regions from here on; the water was followed in all."""
    sites = tables["sites"]
    wanted = set(sites.loc[sites["region"].isin(list(only)), "site_id"])
    for name in ("sites", "buildings", "ends", "reach"):
        frame = tables[name]
        tables[name] = frame[frame["site_id"].isin(wanted)].reset_index(drop=True)
    buildings = set(tables["buildings"]["building_id"])
    entries = tables["entries"]
    tables["entries"] = entries[entries["building_id"].isin(buildings)].reset_index(drop=True)
    filling = tables["filling"]
    tables["filling"] = filling[filling["building_id"].isin(buildings)].reset_index(drop=True)
    openings = set(tables["reach"]["opening_id"])
    for name in ("sealed_ends", "installs"):
        if name in tables:
            tables[name] = _of_ends(tables[name], tables)
    ingress = tables["ingress"]
    tables["ingress"] = ingress[ingress["opening_id"].isin(openings)].reset_index(drop=True)
    sources = tables["reach_sources"]
    tables["reach_sources"] = sources[sources["opening_id"].isin(openings)].reset_index(drop=True)


def _of_ends(frame: Any, tables: Tables) -> Any:
    """Rows whose end is still among the ends or entries."""
    kept = {*tables["ends"]["end_id"], *tables["entries"]["entry_id"]}
    return frame[frame["end_id"].isin(kept)].reset_index(drop=True)


def _publish(  # noqa: PLR0913 - the last step needs all that came before
    tables: Tables,
    settings: Settings,
    folder: Path,
    run_id: RunId,
    *,
    seconds: dict[str, float],
    step: Step,
    started: float,
) -> None:
    begun = time.perf_counter()
    when: dict[str, Any] = {
        "started": dt.datetime.fromtimestamp(started, tz=dt.UTC).isoformat(timespec="seconds"),
        "seconds": seconds,
    }

    def finish() -> dict[str, Any]:
        seconds["publish"] = round(time.perf_counter() - begun, 3)
        return when

    from pipeline.publish import publish

    publish(
        tables,
        settings,
        folder=folder,
        run_id=run_id,
        when=finish,
        progress=step("Writing map, workbooks and files"),
    )


def exit_code(tables: Tables) -> int:
    """The code of `check`: 0 clean, 1 questions, 2 rows refused or a file unreadable."""
    findings = tables["findings"]
    weights = set(findings.loc[is_open(findings), "weight"])
    if contract.STOP in weights:
        return 2
    return 1 if contract.ASK in weights else 0

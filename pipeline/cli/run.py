"""`stanch run`: the whole job, and a summary that a stranger understands."""

from __future__ import annotations

import datetime as dt
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from pipeline.run import RunResult


def run(
    config: Annotated[Path, typer.Argument(help="Settings file of the programme (TOML).")],
    out: Annotated[
        Path | None, typer.Option(help="Run folder; else outputs/<programme>/run-NNN.")
    ] = None,
    *,
    replace: Annotated[bool, typer.Option(help="Replace an existing run folder.")] = False,
    only: Annotated[
        list[str] | None, typer.Option(help="Design and choose for this region only (repeatable).")
    ] = None,
    date: Annotated[
        dt.datetime | None,
        typer.Option(formats=["%Y-%m-%d"], help="Planning date, instead of the settings' own."),
    ] = None,
    strict: Annotated[
        bool, typer.Option(help="Leave with the code of `check` after writing everything.")
    ] = False,
) -> None:
    """Do the whole job: surveys and flood levels in; map, programme, schedule and files out."""
    from pipeline.cli.screen import steps
    from pipeline.cli.summary import print_summary
    from pipeline.run import exit_code
    from pipeline.run import run as run_all

    begun = time.perf_counter()
    with steps() as step:
        result = run_all(
            config,
            out=out,
            replace=replace,
            only=only or (),
            date=date.date() if date else None,
            step=step,
        )
    print_summary(result, seconds=time.perf_counter() - begun)
    if strict:
        raise typer.Exit(exit_code(result.tables))
    raise typer.Exit(0 if _computed(result) else 2)


def _computed(result: RunResult) -> bool:
    """Whether at least one site was computed."""
    return not result.tables["reach"].empty

"""`stanch trace`: one end, entry, building or site explained from the run folder alone."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class Kind(StrEnum):
    """What an id names."""

    opening = "opening"
    entry = "entry"
    building = "building"
    site = "site"
    chamber = "chamber"


def trace(  # noqa: PLR0913 - one option per question
    run: Annotated[Path, typer.Argument(help="Run folder, such as outputs/example/run-001.")],
    thing: Annotated[
        str, typer.Argument(metavar="ID", help="Duct end, entry, building, site or chamber.")
    ],
    kind: Annotated[
        Kind | None, typer.Option(help="What the id names, where it names two things.")
    ] = None,
    if_water_m: Annotated[
        float,
        typer.Option("--if-water-m", help="What if every water stood this much higher (m)?"),
    ] = 0.0,
    if_event: Annotated[
        float | None,
        typer.Option(
            "--if-event", help="What if the design event had this chance a year, such as 0.001?"
        ),
    ] = None,
    if_closed: Annotated[
        list[str] | None,
        typer.Option("--if-closed", help="What if this end or package were closed? Repeatable."),
    ] = None,
    add_cable_mm: Annotated[
        list[float] | None,
        typer.Option(
            help="Outer diameter (mm) of a cable that is to be added at this end later; repeatable."
        ),
    ] = None,
) -> None:
    """Explain one thing: its level cell by cell, the water, the way, the class and what changes it."""
    from pipeline.ask import explain, explain_later, what_if
    from pipeline.core.errors import UsageError
    from pipeline.publish.what_if import WhatIf

    if add_cable_mm and (if_water_m or if_event is not None or if_closed):
        raise UsageError(
            "--add-cable-mm and --if-... are two questions.", mend="Ask one after the other."
        )
    if add_cable_mm:
        for line in explain_later(run, thing, add_cable_mm):
            print(line)
        return
    if if_event is not None and not 0.0 < if_event < 1.0:
        raise UsageError(
            f"--if-event {if_event:g} is no chance a year.",
            mend="Give a number between 0 and 1, such as 0.001 for 1 in 1,000 a year.",
        )
    change = WhatIf(if_water_m, if_event, tuple(if_closed or ()))
    name = kind.value if kind else ""
    lines = (
        what_if(run, thing, change, kind=name)
        if change.is_asked
        else explain(run, thing, kind=name)
    )
    for line in lines:
        print(line)

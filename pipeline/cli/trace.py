"""`stanch trace`: one end, entry, building or site explained from the run folder alone."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class Kind(StrEnum):
    """What an id names."""

    opening = "opening"
    building = "building"
    site = "site"
    chamber = "chamber"


def trace(
    run: Annotated[Path, typer.Argument(help="Run folder, such as outputs/example/run-001.")],
    thing: Annotated[
        str, typer.Argument(metavar="ID", help="Duct end, entry, building, site or chamber.")
    ],
    kind: Annotated[
        Kind | None, typer.Option(help="What the id names, where it names two things.")
    ] = None,
) -> None:
    """Explain one thing: its level cell by cell, the water, the way, the class and what changes it."""
    from pipeline.run import explain

    for line in explain(run, thing, kind=kind.value if kind else ""):
        print(line)

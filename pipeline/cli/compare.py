"""`stanch compare`: what differs between two runs, and which input change made it so."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def compare(
    run_a: Annotated[Path, typer.Argument(help="Run folder, the earlier one.")],
    run_b: Annotated[Path, typer.Argument(help="Run folder that is held against it.")],
    out: Annotated[
        Path | None,
        typer.Option(help="Workbook to write every difference into (a new .xlsx file)."),
    ] = None,
) -> None:
    """Tell what differs between two runs, and the input change that each difference depends on."""
    from pipeline.ask import compare_runs

    for line in compare_runs(run_a, run_b, out=out):
        print(line)

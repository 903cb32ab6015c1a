"""`stanch template`: a blank survey workbook, and the same survey as a phone form."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def template(
    file: Annotated[Path, typer.Argument(help="Workbook to write (.xlsx).")],
    phone: Annotated[
        Path | None,
        typer.Option(help="Write the phone form too (an XLSForm workbook for form apps)."),
    ] = None,
    records: Annotated[
        Path | None,
        typer.Option(help="Write the blank workbook of the records too (.xlsx)."),
    ] = None,
    config: Annotated[
        Path | None,
        typer.Option(help="Settings file: its regions, site classes and datum fill the lists."),
    ] = None,
    *,
    replace: Annotated[bool, typer.Option(help="Overwrite existing files.")] = False,
) -> None:
    """Write a blank survey workbook: data sheets, lists, a wall drawing and a card to print."""
    from pipeline.run import write_blank

    for path in write_blank(file, phone=phone, records=records, config=config, replace=replace):
        print(f"Written: {path}")
    print("Fill it in, then: stanch check", file)

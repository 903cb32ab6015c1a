"""`stanch check`: read surveys, count rows, show the first findings."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from pipeline.tables import Tables

_SHOWN = 12


class CheckFormat(StrEnum):
    """How the result is printed."""

    table = "table"
    json = "json"


def check(
    files: Annotated[
        list[Path], typer.Argument(help="Survey workbooks, CSV files or folders of CSV files.")
    ],
    config: Annotated[
        Path | None, typer.Option(help="Settings file of the programme: adds places and levels.")
    ] = None,
    questions: Annotated[
        Path | None, typer.Option(help="Write the question list to this workbook.")
    ] = None,
    how: Annotated[
        CheckFormat, typer.Option("--format", help="Print tables to read or JSON.")
    ] = CheckFormat.table,
    *,
    replace: Annotated[bool, typer.Option(help="Overwrite an existing question list.")] = False,
) -> None:
    """Read surveys, count their rows and list what has to be asked or mended."""
    from pipeline.cli.screen import steps
    from pipeline.core.errors import UsageError
    from pipeline.run import check as check_surveys
    from pipeline.run import exit_code

    if questions is not None and questions.resolve() in {f.resolve() for f in files}:
        raise UsageError(
            f"{questions} is one of the files to read.",
            why="The answers in it would be lost.",
            mend="Name another file for the new list.",
        )
    if questions is not None and questions.exists() and not replace:
        raise UsageError(
            f"{questions} exists already.",
            why="Nothing is overwritten without your word.",
            mend="Call with --replace or name another file.",
        )
    with steps() as step:
        tables, settings = check_surveys(files, config=config, step=step)
    if questions is not None:
        from pipeline.publish.questions import write_questions

        write_questions(questions, tables, "check")
    if how is CheckFormat.json:
        _print_json(tables)
    else:
        _print_tables(tables, has_settings=settings is not None, questions=questions)
    raise typer.Exit(exit_code(tables))


def _print_json(tables: Tables) -> None:
    import json

    print(
        json.dumps(
            {
                "counts": json.loads(tables["counts"].to_json(orient="records")),
                "findings": json.loads(tables["findings"].to_json(orient="records")),
            },
            indent=2,
            ensure_ascii=False,
        )
    )


def _print_tables(tables: Tables, *, has_settings: bool, questions: Path | None) -> None:
    from rich.console import Console
    from rich.table import Table

    from pipeline.core.answers import is_open
    from pipeline.core.counting import head_line

    console = Console(markup=False)
    counts = Table(box=None, pad_edge=False, title="Rows", title_justify="left")
    for heading in ("file", "sheet", "rows", "used", "asked", "refused", "skipped"):
        counts.add_column(heading, justify="left" if heading in ("file", "sheet") else "right")
    for row in tables["counts"].itertuples():
        counts.add_row(
            str(row.file),
            str(row.sheet),
            *(
                str(n)
                for n in (
                    row.rows_count,
                    row.used_count,
                    row.asked_count,
                    row.refused_count,
                    row.skipped_count,
                )
            ),
        )
    console.print(counts)
    console.print(f"\n{head_line(tables['counts'])}\n")
    _print_findings(tables, console)
    if has_settings:
        console.print("\nChecks that need designed seals (duct-19, duct-20) are made by a run.")
    else:
        _print_not_made(console)
    if questions is not None:
        console.print(f"\nThe question list is in {questions}.")
    elif is_open(tables["findings"]).any():
        console.print("\nNext: --questions QUESTIONS.xlsx writes the list to send back.")


def _print_not_made(console: object) -> None:
    """What was not looked at, in the words of each check."""
    from pipeline.core.rules import rules
    from pipeline.run import not_made

    register = rules()
    codes = not_made()
    say = console.print  # type: ignore[attr-defined]
    say(f"\n{len(codes)} checks were not made: they need places, levels or floods (--config):")
    for code in codes:
        say(f"  {code}  {register[code].test}")


def _print_findings(tables: Tables, console: object) -> None:
    from pipeline.core.answers import is_open

    findings = tables["findings"]
    asked = findings[is_open(findings)]
    # what could not be used comes first: it is often the cause of what follows
    asked = asked.sort_values("weight", key=lambda w: w != "STOP", kind="stable")
    say = console.print  # type: ignore[attr-defined]
    for row in asked.head(_SHOWN).itertuples():
        where = " ".join(
            str(p) for p in (row.file, row.sheet, row.cell) if str(p) not in ("", "nan")
        )
        say(f"{row.weight}  {row.code}  {where}\n      {row.message}")
    rest = len(asked) - _SHOWN
    if rest > 0:
        say(f"... and {rest} more.")
    if asked.empty:
        say("Nothing to ask.")

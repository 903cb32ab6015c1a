"""`stanch check`: read surveys, count rows, show the first findings."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from pipeline.core.check_scope import Scope
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
    not_made: Annotated[
        bool, typer.Option("--not-made", help="List each check that could not be made here.")
    ] = False,
    replace: Annotated[bool, typer.Option(help="Overwrite an existing question list.")] = False,
) -> None:
    """Read surveys, count their rows and list what has to be asked or mended."""
    from pipeline.cli.screen import steps
    from pipeline.core import settings_file
    from pipeline.core.check_scope import scope_of
    from pipeline.core.errors import UsageError
    from pipeline.core.new_files import check_new_book
    from pipeline.run import check as check_surveys
    from pipeline.run import exit_code

    if questions is not None and questions.resolve() in {f.resolve() for f in files}:
        raise UsageError(
            f"{questions} is one of the files to read.",
            why="The answers in it would be lost.",
            mend="Name another file for the new list.",
        )
    if questions is not None:
        check_new_book(questions, replace=replace)
    with steps() as step:
        tables, _ = check_surveys(files, config=config, step=step)
    if questions is not None:
        from pipeline.publish.questions import write_questions

        write_questions(questions, tables, "check")
    scope = scope_of(settings_file.load(config), files) if config is not None else None
    if how is CheckFormat.json:
        _print_json(tables, scope)
    else:
        _print_tables(tables, scope=scope, questions=questions, has_all=not_made)
    raise typer.Exit(exit_code(tables))


def _print_json(tables: Tables, scope: Scope | None) -> None:
    import json

    from pipeline.core.check_scope import need_of
    from pipeline.core.rules import rules

    register = rules()
    print(
        json.dumps(
            {
                "counts": json.loads(tables["counts"].to_json(orient="records")),
                "findings": json.loads(tables["findings"].to_json(orient="records")),
                "not_made": [
                    {"code": code, "needs": need_of(code), "test": register[code].test}
                    for code in _not_made(scope)
                ],
                "read_besides": {w: list(names) for w, names in scope.read} if scope else {},
                "not_read": list(scope.not_read) if scope else [],
            },
            indent=2,
            ensure_ascii=False,
        )
    )


def _not_made(scope: Scope | None) -> list[str]:
    """Codes of the checks that were not made; with settings only those of a run are left."""
    from pipeline.core.check_scope import SEALS, need_of
    from pipeline.run import not_made

    return [c for c in not_made() if scope is None or need_of(c) == SEALS]


def _print_tables(
    tables: Tables, *, scope: Scope | None, questions: Path | None, has_all: bool
) -> None:
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
    if counts.row_count:
        console.print(counts)
        console.print(f"\n{head_line(tables['counts'])}\n")
    else:
        console.print("No row of a survey was read.\n")
    _print_findings(tables, console)
    console.print()
    for line in [*(scope.lines() if scope else []), *_not_made_lines(scope, has_all=has_all)]:
        console.print(line)
    if questions is not None:
        console.print(f"\nThe question list is in {questions}.")
    elif is_open(tables["findings"]).any():
        console.print("\nNext: --questions QUESTIONS.xlsx writes the list to send back.")


def _not_made_lines(scope: Scope | None, *, has_all: bool) -> list[str]:
    """How many checks were not made, by what they need; each of them only where it is asked for."""
    from pipeline.core.check_scope import SEALS, by_need
    from pipeline.core.rules import rules

    groups = by_need(_not_made(scope))
    seals = len(groups.pop(SEALS, ()))
    lines = []
    if groups:
        count = sum(len(codes) for codes in groups.values())
        parts = ", ".join(f"{need} {len(codes)}" for need, codes in groups.items())
        lines.append(f"{count} checks were not made without settings (--config): {parts}.")
    lines.append(f"{seals} checks need {SEALS}; a run makes them.")
    if not has_all:
        return [*lines, "--not-made lists each of them."]
    register = rules()
    for need, codes in by_need(_not_made(scope)).items():
        lines += ["", f"Not made, for want of {need}:"]
        lines += [f"  {code}  {register[code].test}" for code in codes]
    return lines


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

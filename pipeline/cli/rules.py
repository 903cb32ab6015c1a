"""`stanch rules`: every finding rule with weight, message and who answers."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer


class RulesFormat(StrEnum):
    """How the rules are printed."""

    table = "table"
    json = "json"


def rules(
    like: Annotated[
        str, typer.Argument(help="Show only codes that begin with this, for example 'level'.")
    ] = "",
    how: Annotated[
        RulesFormat, typer.Option("--format", help="Print a table to read or JSON.")
    ] = RulesFormat.table,
) -> None:
    """List every finding rule: code, weight, who answers, and the words that are sent."""
    from dataclasses import asdict

    from pipeline.core.errors import UsageError
    from pipeline.core.rules import rules as register

    chosen = [rule for code, rule in register().items() if code.startswith(like)]
    if not chosen:
        families = sorted({code.split("-")[0] for code in register()})
        raise UsageError(f"No rule begins with {like!r}.", mend=f"Families: {', '.join(families)}.")
    if how is RulesFormat.json:
        import json

        print(json.dumps([asdict(rule) for rule in chosen], indent=2, ensure_ascii=False))
        return
    for rule in chosen:
        who = f", answered by the {rule.answered_by}" if rule.answered_by else ""
        print(f"{rule.code}  {rule.weight}{who}: {rule.test}")
        print(f"    {rule.message}")
        if rule.assumed:
            print(f"    Until answered: {rule.assumed}.")
        if rule.mend:
            print(f"    To mend: {rule.mend}")
    print(f"{len(chosen)} rules")

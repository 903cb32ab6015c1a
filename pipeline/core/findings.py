"""Findings: one fault of a survey, told to its owner with place, reason and remedy."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any, Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.rules import Rule, rule

KEY_SEPARATOR: Final = " ; "


@dataclass(frozen=True, kw_only=True)
class Cell:
    """Where something was read: file, sheet, row as the spreadsheet shows it, house column, cell."""

    file: str = ""
    sheet: str = ""
    row: int | None = None
    column: str = ""
    cell: str = ""


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One finding. `key` is sheet + '/' + id of the thing, `place_id` the place it stands at.

    `also_keys`: the other things that the same line stands for, joined by ' ; '. `answer`: what was
    answered, which closes the question.
    """

    code: str
    weight: str
    answered_by: str
    file: str
    sheet: str
    row: int | None
    column: str
    cell: str
    as_read: str
    message: str
    assumed: str
    mend: str
    key: str
    place_id: str
    site_id: str
    also_keys: str = ""
    answer: str = ""


class _Blank(dict[str, str]):
    """Leaves a placeholder visible instead of failing when a caller gave no value for it."""

    def __missing__(self, name: str) -> str:
        return "{" + name + "}"


def make(  # noqa: PLR0913 - a finding has this many independent facts; all are keyword-only
    code: str,
    where: Cell | None = None,
    *,
    key: str = "",
    place_id: str = "",
    site_id: str = "",
    as_read: str = "",
    assumed: str = "",
    weight: str | None = None,
    fill: Mapping[str, Any] | None = None,
    also_keys: Iterable[str] = (),
) -> Finding:
    """Make a finding from its registered rule.

    Parameters
    ----------
    code : str
        A code of the register (`stanch rules` lists them).
    where : Cell, optional
        The cell; blank for a fault of a whole file or site.
    weight : str, optional
        Only where the register names a second weight in brackets.
    fill : mapping, optional
        Values of the braces in the message.

    Raises
    ------
    KeyError
        If the code is not registered.
    """
    the_rule: Rule = rule(code)
    where = where or Cell()
    values = _Blank({k: str(v) for k, v in (fill or {}).items()})
    return Finding(
        code=code,
        weight=weight or the_rule.weight,
        answered_by=the_rule.answered_by,
        file=where.file,
        sheet=where.sheet,
        row=where.row,
        column=where.column,
        cell=where.cell,
        as_read=as_read,
        message=the_rule.message.format_map(values),
        assumed=assumed or the_rule.assumed,
        mend=the_rule.mend,
        key=key,
        place_id=place_id,
        site_id=site_id,
        also_keys=KEY_SEPARATOR.join(also_keys),
    )


COLUMNS = tuple(f.name for f in fields(Finding))
_ORDER = {contract.STOP: 0, contract.ASK: 1, contract.NOTE: 2}


def table(findings: Iterable[Finding]) -> pd.DataFrame:
    """Findings as a table: STOP before ASK before NOTE, then file, sheet, row, code."""
    rows = sorted(
        (asdict(f) for f in findings),
        key=lambda f: (
            _ORDER[f["weight"]],
            f["file"],
            f["sheet"],
            f["row"] or 0,
            f["column"],
            f["code"],
            f["message"],
        ),
    )
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    frame["row"] = frame["row"].astype("Int64")
    return frame

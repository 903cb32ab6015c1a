"""The register of finding rules: code, weight, who answers, test, message, remedy.

One file, `data/rules.csv`, feeds the findings, `stanch rules`, the manual and the test that every
rule has a sample that fires it.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib import resources


@dataclass(frozen=True)
class Rule:
    """One registered rule; `stage` names the room that makes the finding."""

    code: str
    sheet: str
    weight: str
    answered_by: str
    test: str
    message: str
    assumed: str
    mend: str
    stage: str


@cache
def rules() -> dict[str, Rule]:
    """All registered rules by code, in the order of the register."""
    text = resources.files("pipeline.core").joinpath("data/rules.csv").read_text("utf-8")
    return {row["code"]: Rule(**row) for row in csv.DictReader(text.splitlines())}


def rule(code: str) -> Rule:
    """The rule of a code; KeyError when it is not registered."""
    return rules()[code]

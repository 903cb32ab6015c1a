"""Holds and changed steps: what a rule is, and how rules apply to an end. The widest reach wins."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from pipeline.core.contract import HOLD_NONE, HOLDS
from pipeline.design.case import Case


@dataclass(frozen=True)
class Rule:
    """One rule.

    `test` gives '' where the rule does not apply, else a detail for the words ('yes' for none).
    `without` are steps that are left out, `adds` sentences that join a step, `caution` goes to
    the crew's sheet in place of the step it changes, `effect` says what it does, for the manual.
    """

    code: str
    reach: str
    words: str
    released_by: str
    test: Callable[[Case], str]
    caution: str = ""
    without: tuple[str, ...] = ()
    adds: dict[str, str] = field(default_factory=dict)
    effect: str = ""


@dataclass(frozen=True)
class Applied:
    """A rule that applies to an end, with its words filled in."""

    rule: Rule
    words: str


def apply(case: Case, rules: Sequence[Rule]) -> list[Applied]:
    """The rules that apply to an end, widest reach first, then in the order of the table."""
    found = []
    for rule in rules:
        detail = rule.test(case)
        if detail:
            words = rule.words.format(detail=detail)
            if rule.released_by:
                words += f" (released by {rule.released_by})"
            found.append(Applied(rule, words))
    return sorted(found, key=lambda a: HOLDS.index(a.rule.reach))


def widest(applied: Sequence[Applied]) -> str:
    """The widest reach among rules; `none` without any."""
    return next((r for r in HOLDS if any(a.rule.reach == r for a in applied)), HOLD_NONE)

"""Holds and changed steps: what a rule is, and how rules apply to an end. The widest reach wins."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from pipeline.core.contract import HOLD_NONE, HOLDS
from pipeline.design.case import Case
from pipeline.design.facts import Row, text


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
    release: Row = field(default_factory=dict)

    @property
    def is_lifted(self) -> bool:
        """A release in force lifts the hold; its cautions and steps stay."""
        return bool(self.release)

    @property
    def is_hold(self) -> bool:
        """It holds something back and nobody has lifted it."""
        return bool(self.rule.released_by) and not self.is_lifted

    @property
    def lifted_words(self) -> str:
        """Who lifted the hold, when, and under which condition."""
        r = self.release
        said = f"{self.rule.code}: lifted by {text(r, 'released_by')} ({text(r, 'role')}) on "
        said += f"{text(r, 'release_date')}, release {text(r, 'release_id')}"
        parts = [said]
        if text(r, "valid_until"):
            parts.append(f"until {text(r, 'valid_until')}")
        if text(r, "condition"):
            parts.append(f"condition: {text(r, 'condition')}")
        return ", ".join(parts)


def apply(case: Case, rules: Sequence[Rule]) -> list[Applied]:
    """The rules that apply to an end, widest reach first, then in the order of the table."""
    found = []
    for rule in rules:
        detail = rule.test(case)
        if detail:
            words = rule.words.format(detail=detail)
            if rule.released_by:
                words += f" (released by {rule.released_by})"
            found.append(Applied(rule, words, _release_of(rule, case)))
    return sorted(found, key=lambda a: HOLDS.index(a.rule.reach))


def widest(applied: Sequence[Applied]) -> str:
    """The widest reach among rules that no release lifts; `none` without any."""
    standing = {a.rule.reach for a in applied if not a.is_lifted}
    return next((r for r in HOLDS if r in standing), HOLD_NONE)


def _release_of(rule: Rule, case: Case) -> Row:
    """The release that lifts a hold of an end; nothing for a rule that holds nothing back."""
    if not rule.released_by:
        return {}
    return next((r for r in case.facts.releases if text(r, "hold") == rule.code), {})

"""The register of rules: complete, one question each, and in step with the checks."""

from __future__ import annotations

import re

import pytest

from pipeline.core.contract import ASK, NOTE, STOP
from pipeline.core.rules import rules
from pipeline.intake.checks import CHECKS, CODES, not_made

ROOMS = {"reading", "checks", "levels", "flood", "design", "records", "later"}
REQUEST = re.compile(r"\b[Pp]lease (give|send|list|write|measure|fill)\b")


def test_every_rule_is_complete() -> None:
    """134 rules stand in the design; each has a message, a remedy, a room, and an assumption."""
    # the 134 of the trade's list, three of ours for answers that were laid in, 22 of the records
    assert len(rules()) == 134 + 3 + 22
    for code, rule in rules().items():
        assert rule.message, code
        assert rule.mend, code
        assert rule.stage.split(":")[0] in ROOMS, code
        assert (":" in rule.stage) or rule.stage != "later", code
        assert bool(rule.assumed) or rule.weight == NOTE, code


def test_weights_and_answerers() -> None:
    """Weights are the three of the contract; who answers is named unless nothing is asked."""
    who = {"surveyor", "engineer", "manager", "safety lead", "crew lead", "inspector"}
    for code, rule in rules().items():
        assert rule.weight in {STOP, ASK, NOTE}, code
        assert (rule.answered_by in who) == (rule.weight != NOTE), code


def test_every_question_asks_once() -> None:
    """An ASK holds one question or one request that a word, number, tick or photo answers."""
    for code, rule in rules().items():
        if rule.weight == ASK:
            asks = rule.message.count("?") - rule.message.count('"?"')
            asks += len(REQUEST.findall(rule.message))
            assert asks >= 1, code
            assert rule.message.count("?") <= 1, code


def test_no_message_gives_a_verdict() -> None:
    """House rule: nothing is called safe."""
    for rule in rules().values():
        assert "safe" not in f"{rule.message} {rule.assumed} {rule.mend}".lower().split()


def test_checks_and_register_are_in_step() -> None:
    """What the register gives to the checks is made by them, and nothing else is."""
    mine = {c for c, r in rules().items() if r.stage.split(":")[0] == "checks"}
    later = {c for c, r in rules().items() if r.stage.startswith("later")}
    assert mine <= set(CODES)
    assert set(CODES) <= mine | later


@pytest.mark.parametrize("code", CODES)
def test_codes_are_made_by_one_check_or_by_kinds_of_one(code: str) -> None:
    """Each code stands in the table of checks with its function; level-22 and visit-02 have two evidences."""
    makers = [c.function for c in CHECKS if code in c.codes]
    assert len(makers) == (2 if code in ("level-22", "visit-02") else 1)


def test_not_made_names_what_needs_settings() -> None:
    """Checks that need places, dates or limits of the settings are named, the others are not."""
    assert {"place-03", "duct-17", "visit-06"} <= set(not_made())
    assert not {"id-04", "duct-04"} & set(not_made())

"""Answers to findings: what was said, what it means for a cell, and which questions it closes."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any, Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.findings import KEY_SEPARATOR

KEEP: Final = "@keep"
VALUE: Final = "value"
KEPT: Final = "kept as typed"
REMEMBERED: Final = "remembered"
LATER: Final = "the survey has a later value"
UNREADABLE: Final = "could not be read as a value"
ONE_FOR_ALL: Final = "one value for several rows"
IN_QUESTION: Final = "the value stays in question"
OUTCOMES: Final = (VALUE, KEPT, REMEMBERED, LATER, UNREADABLE, ONE_FOR_ALL, IN_QUESTION)
BARE: Final = frozenset(
    {"yes", "y", "no", "n", "right", "correct", "ok", "true", "not known", "unknown"}
)
"""Answers that name no thing: no id, no text and no code is called so."""
NOT_KNOWN: Final = frozenset(
    {"not known", "unknown", "cannot say", "can not say", "nobody knows", "no", "none", "n/a"}
)
"""Answers that close a question without a value: there is none to be had."""
_A_NUMBER: Final = re.compile(
    r"^[+-]?\d+(?:[.,]\d+)?\s*"
    r"(?:m|mm|cm|ft|in|inch|inches|feet|metres|millimetres|centimetres)?$"
)
# a line that stays true when its number is put right: ways that are not listed stay open
_SETTLED: Final = frozenset({"duct-13"})
_DIGITS: Final = re.compile(r"^[+-]?\d+(?:[.,]\d+)?")
_DONT_KNOW: Final = frozenset(
    {"not known", "unknown", "don't know", "dont know", "do not know", "i don't know", "don’t know",
     "no idea", "not sure", "cannot say", "can not say", "can't say", "nobody knows"}
)  # fmt: skip
_YES: Final = frozenset({"yes", "y", "right", "correct", "ok", "true", "as typed", "confirmed"})


@dataclass(frozen=True)
class Answer:
    """One answered line of a question list.

    `keys` are the things that the line stands for (sheet + '/' + id), `as_read` is what stood in
    the cell when the question was asked, `source` names the cell of the answer.
    """

    keys: tuple[str, ...]
    column: str
    code: str
    text: str
    as_read: str = ""
    by_whom: str = ""
    on: str = ""
    source: str = ""


@dataclass(frozen=True)
class Meaning:
    """What an answer does: the column that it fills and the text to be read there.

    A blank text means that nothing is filled; `is_kept`: the value in question is right.
    """

    column: str = ""
    text: str = ""
    is_kept: bool = False


@cache
def _words() -> dict[str, list[tuple[str, str, str]]]:
    text = resources.files("pipeline.core").joinpath("data/answer_words.csv").read_text("utf-8")
    out: dict[str, list[tuple[str, str, str]]] = {}
    for row in csv.DictReader(text.splitlines()):
        out.setdefault(row["code"], []).append((row["word"], row["column"], row["value"]))
    return out


def meaning(answer: Answer) -> Meaning:
    """What an answer means for the survey; nothing for a code whose answers are only remembered.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    Meaning

    Notes
    -----
    `data/answer_words.csv` lists, code by code, the words that mean something of their own; '*'
    stands for any text that the column can be read from, '@number' for any number. House rule: a code that is not listed
    never changes a cell, because "no" to "is there a register entry?" must not read as "no
    asbestos".
    """
    return _found(answer) or Meaning()


def _found(answer: Answer) -> Meaning | None:
    """The meaning by the first word of a code's list that fits; None where none does."""
    listed = _words().get(answer.code, [])
    is_open = any(word == "*" for word, _, _ in listed)
    said = plain(answer.text)
    kept = {word for word, _, value in listed if value == KEEP}
    for word, column, value in listed:
        is_number = word == "@number" and bool(_A_NUMBER.match(said))
        unit = _DIGITS.sub("", said).strip()
        if is_number and unit in kept and _same_number(said, answer.as_read):
            return _meaning(answer, column, KEEP)
        if is_number or word == said or (not is_open and _begins(said, word, is_free=not value)):
            return _meaning(answer, column, value or (answer.text if is_number else ""))
    for word, column, value in listed:
        if word == "*":
            return _meaning(answer, column, value or answer.text)
    return None


def plain(text: str) -> str:
    """An answer in small letters, every way to say yes or that it is not known as one word."""
    said = " ".join(text.casefold().split()).strip(".! ")
    if said in _DONT_KNOW:
        return "not known"
    return "yes" if said in _YES else said


def _begins(said: str, word: str, *, is_free: bool) -> bool:
    """Whether an answer is a word of the list with something said behind it: 'yes, in May'."""
    if not said.startswith(word):
        return False
    rest = said[len(word) :]
    if rest.lstrip().startswith((",", ";", ":", "(")):
        return True
    # 'no idea' is no 'no', and 'in doubt' no inches
    return is_free and word not in BARE and rest.startswith(" ")


def _same_number(said: str, as_read: str) -> bool:
    """Whether an answer repeats the number that was asked about."""
    found = [m[0].replace(",", ".") for t in (said, as_read) if (m := _DIGITS.match(t.strip()))]
    return len(found) == 2 and float(found[0]) == float(found[1])


def is_understood(code: str, text: str) -> bool:
    """Whether an answer is one of those that a question asks for.

    A code without a list of words takes any text, and so does one whose list holds '*'.
    """
    return code not in _words() or _found(Answer((), "", code, text)) is not None


def asks_to_confirm(code: str) -> bool:
    """Whether a code asks "is that right?": a bare no then gives no value and settles nothing."""
    words = {word for word, _, _ in _words().get(code, [])}
    return {"yes", "*"} <= words and "no" not in words


def _meaning(answer: Answer, column: str, value: str) -> Meaning:
    if value == KEEP:
        return Meaning(answer.column, is_kept=True)
    return Meaning(column or answer.column, value.replace("{raw}", answer.as_read))


@dataclass
class Answers:
    """All answers by thing, column and code; the latest of several counts."""

    by: dict[tuple[str, str, str], Answer] = field(default_factory=dict)
    outcome: dict[tuple[str, str, str], str] = field(default_factory=dict)
    things: dict[str, set[tuple[str, str, str]]] = field(default_factory=dict)

    @classmethod
    def of(cls, answers: Iterable[Answer]) -> Answers:
        """Gather answers; a later date wins, without dates the later file."""
        out = cls()
        for answer in answers:
            for key in answer.keys:
                at = (key.casefold(), answer.column, answer.code)
                before = out.by.get(at)
                if before is None or not (answer.on and before.on and answer.on < before.on):
                    out.by[at] = answer
                    out.outcome[at] = REMEMBERED
                    out.things.setdefault(at[0], set()).add(at)
        return out

    def of_thing(self, key: str) -> list[Answer]:
        """Answers about one thing (sheet/id)."""
        return [self.by[at] for at in sorted(self.things.get(key.casefold(), ()))]

    def keeps(self, key: str, column: str, code: str) -> bool:
        """Whether the value in question was said to be right, and is still the value."""
        at = (key.casefold(), column, code)
        answer = self.by.get(at)
        return answer is not None and meaning(answer).is_kept and self.outcome[at] != LATER

    def doubt(self, key: str, column: str, code: str) -> None:
        """A value that is used stays in question: an answer without a value does not settle that."""
        at = (key.casefold(), column, code)
        if self.outcome.get(at) == REMEMBERED:
            self.outcome[at] = IN_QUESTION

    def note(self, key: str, answer: Answer, outcome: str) -> None:
        """Keep what became of an answer."""
        self.outcome[key.casefold(), answer.column, answer.code] = outcome

    def table(self) -> pd.DataFrame:
        """Hand-over table `answers`."""
        return pd.DataFrame(
            [
                {
                    "key": key,
                    "column": column,
                    "code": code,
                    "answer": answer.text,
                    "by_whom": answer.by_whom or None,
                    "answered_on": answer.on or None,
                    "source": answer.source,
                    "outcome": self.outcome[key, column, code],
                }
                for (key, column, code), answer in sorted(self.by.items())
            ],
            columns=["key", "column", "code", "answer", "by_whom", "answered_on", "source",
                     "outcome"],
        )  # fmt: skip


def close(findings: pd.DataFrame, answers: pd.DataFrame) -> pd.DataFrame:
    """Write the answers beside their findings; a question that is answered is not asked again.

    Parameters
    ----------
    findings : DataFrame
        Table `findings`.
    answers : DataFrame
        Table `answers`.

    Returns
    -------
    DataFrame
        Findings with `answer` filled where the question is closed. A STOP is only closed by a
        value, an ASK whose answer fills a cell by a text that can be read there, and one that asks
        for certain words by one of them: what gives none is told back in the message. "Not known",
        and a statement of several words, close an ASK that puts no value in question; where one is
        used and in question, only a value or the word that it is right closes.
    """
    if answers.empty or findings.empty:
        return findings
    said: dict[tuple[str, str, str], Any] = {
        (r["key"], r["column"], r["code"]): r for r in answers.fillna("").to_dict("records")
    }
    out = findings.copy()
    for i, row in zip(out.index, out.to_dict("records"), strict=True):
        if row["weight"] == contract.NOTE:
            continue
        column = "" if pd.isna(row["column"]) else row["column"]
        every = [(key, column, row["code"]) for key in _keys(row)]
        # a row that nobody was asked about keeps the line open
        if not all(at in said and said[at]["outcome"] != LATER for at in every):
            continue
        found = said[every[0]]
        told = _told_back(row, [said[at] for at in every])
        if told:
            out.loc[i, "message"] = f"{row['message']} {told}"
            continue
        who = " ".join(t for t in (found["by_whom"], found["answered_on"]) if t)
        out.loc[i, "answer"] = f"{found['answer']} ({who})" if who else found["answer"]
    return out


def _told_back(row: dict[str, Any], said: list[dict[str, Any]]) -> str:
    """Why an answer does not settle its question; '' where it does."""
    answer, outcomes = said[0]["answer"], {s["outcome"] for s in said}
    if ONE_FOR_ALL in outcomes:
        return (
            f'(Your answer "{answer}" is one value for {len(said)} rows: answer "all {answer}" if '
            "it was measured alike in each, else fill the rows in the survey.)"
        )
    is_known = plain(answer) != "not known"
    if IN_QUESTION in outcomes and not is_known:
        return f'(You answered "{answer}": the value stays in question until it is given.)'
    if outcomes <= {REMEMBERED, IN_QUESTION} and not is_understood(row["code"], answer):
        if not is_known:
            return f'(You answered "{answer}": the question stays open.)'
        return f'(Your answer "{answer}" was not understood. {row["mend"]})'
    if IN_QUESTION in outcomes:
        return f'(Your answer "{answer}" gives no value that can be used.)'
    laid = VALUE in outcomes and row["code"] not in _SETTLED
    if row["weight"] == contract.STOP or UNREADABLE in outcomes or laid:
        return f'(Your answer "{answer}" gives no value that can be used.)'
    return ""


def _keys(row: dict[str, Any]) -> list[str]:
    """All things that a finding stands for, lower case."""
    more = row["also_keys"]
    also = [] if pd.isna(more) or not more else str(more).split(KEY_SEPARATOR)
    return [k.casefold() for k in (str(row["key"]), *also)]


def is_open(findings: pd.DataFrame) -> pd.Series:
    """Findings that still wait for somebody: no NOTE, and not answered."""
    return (findings["weight"] != contract.NOTE) & findings["answer"].fillna("").eq("")

"""The process that checks: asked in lines of JSON, one job at a time, within limits of its own.

It runs beside the web server, so that a heavy or hostile file can neither hold up the page nor
take it down; the server ends it when a check takes too long.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import pandas as pd
import xlsxwriter

from pipeline.core.answers import is_open
from pipeline.core.counting import head_line
from pipeline.core.errors import UsageError
from pipeline.core.findings import KEY_SEPARATOR
from pipeline.core.progress import Progress, silent
from pipeline.core.rules import rules
from pipeline.publish.questions import lines_to_answer, write_questions
from pipeline.run import check, not_made
from pipeline.tables import Tables

ANSWERS: Final = "answers given on the page.xlsx"
_HEADINGS: Final = ("Key", "Column", "Code", "As read", "Answer", "By whom", "Date")
_FIELDS: Final = ("key", "column", "code", "as_read", "text", "by_whom", "on")
_LINE: Final = (
    "place_id", "site_id", "file", "sheet", "cell", "weight", "answered_by", "as_read", "message",
    "assumed", "mend", "code", "key", "column",
)  # fmt: skip
_COUNTS: Final = (
    "file", "sheet", "rows_count", "used_count", "asked_count", "refused_count", "skipped_count",
)  # fmt: skip
# a row without an id of its own cannot be named by an answer
_MENDED_IN_SURVEY: Final = frozenset({"id-01", "id-02"})
_LONGEST: Final = 32_000


def do_job(job: dict[str, Any], tell: Callable[[dict[str, Any]], None]) -> dict[str, Any]:
    """Check the files of a desk and write what the page shows.

    Parameters
    ----------
    job : dict
        `files` (paths), `config` (path or None), `answers` (records), `out` (folder to write in).
    tell : callable
        Gets the words of each step.

    Returns
    -------
    dict
        `done` (true) or `fault` (what, why, mend).
    """
    out = Path(job["out"])
    files = [Path(f) for f in job["files"]]
    try:
        if job["answers"]:
            files.append(write_answers(out / ANSWERS, job["answers"]))
        else:  # all were taken back
            (out / ANSWERS).unlink(missing_ok=True)

        def step(words: str) -> Progress:
            tell({"step": words})
            return silent

        config = Path(job["config"]) if job["config"] else None
        tables, settings = check(files, config=config, step=step)
        tell({"step": "Writing the question list"})
        write_questions(out / "questions.xlsx", tables, "check")
        result = result_of(tables, has_settings=settings is not None)
        aside = out / "result.aside"
        aside.write_text(json.dumps(result, ensure_ascii=False), encoding="utf-8")
        aside.replace(out / "result.json")
    except UsageError as fault:
        return {"fault": {"what": fault.what, "why": fault.why, "mend": fault.mend}}
    except MemoryError:
        return {"fault": {"what": "The files need more memory than a check may use.", "why": "",
                          "mend": "Remove the largest, or send it in parts."}}  # fmt: skip
    except OSError as fault:
        return {"fault": {"what": f"The check cannot write: {fault.strerror}.", "why": "",
                          "mend": "Make room on the disk, or remove the largest file."}}  # fmt: skip
    except Exception as fault:  # noqa: BLE001 - no traceback reaches a user
        what = "stanch has made a fault of its own."
        return {"fault": {"what": what, "why": f"{type(fault).__name__}: {fault}"[:400],
                          "mend": "Please report this line."}}  # fmt: skip
    return {"done": True}


def write_answers(path: Path, answers: list[dict[str, str]]) -> Path:
    """Write the answers of the page as a question list that the intake reads back.

    Parameters
    ----------
    path : Path
    answers : list of dict

    Returns
    -------
    Path
    """
    with xlsxwriter.Workbook(str(path), {"in_memory": True}) as book:
        # the same answers give the same bytes
        book.set_properties({"created": dt.datetime(2000, 1, 1, tzinfo=dt.UTC)})
        sheet = book.add_worksheet("Answers")
        for c, heading in enumerate(_HEADINGS):
            sheet.write_string(0, c, heading)
        for r, answer in enumerate(answers, start=1):
            for c, name in enumerate(_FIELDS):
                sheet.write_string(r, c, _fitting(answer[name]))
    return path


def _fitting(text: str) -> str:
    """A text that a cell holds; a list of keys is cut between two of them."""
    if len(text) <= _LONGEST:
        return text
    cut = text[:_LONGEST]
    return cut.rsplit(KEY_SEPARATOR, 1)[0] if KEY_SEPARATOR in cut else cut


def result_of(tables: Tables, *, has_settings: bool) -> dict[str, Any]:
    """What the page shows of a check, as plain data.

    Parameters
    ----------
    tables : Tables
        Survey tables, findings, counts and answers.
    has_settings : bool
        Whether a settings file gave places and levels.

    Returns
    -------
    dict
        `head`, `counts`, `lines` (open questions in walking order), `outcomes` of answers,
        `closed_count` of questions that were answered, `not_made` checks.
    """
    asked = lines_to_answer(tables).sort_values(
        ["walk", "place_id", "rank", "sender", "sheet", "row", "code"], kind="stable"
    )
    findings = tables["findings"]
    answers = tables["answers"] if "answers" in tables else pd.DataFrame()
    register = rules()
    return {
        "head": head_line(tables["counts"]),
        "counts": [
            {n: _plain(row[n]) for n in _COUNTS} for row in tables["counts"].to_dict("records")
        ],
        "lines": [_line(row) for row in asked.to_dict("records")],
        "outcomes": {
            f"{r['key']}|{'' if pd.isna(r['column']) else r['column']}|{r['code']}": r["outcome"]
            for r in answers.to_dict("records")
        },
        "closed_count": int((~is_open(findings) & findings["answer"].fillna("").ne("")).sum()),
        "not_made": [] if has_settings else [register[code].test for code in not_made()],
    }


def _line(row: dict[str, Any]) -> dict[str, Any]:
    line = {name: _plain(row[name]) for name in _LINE}
    what = "\x1f".join(str(line[n]) for n in ("key", "column", "code", "file", "sheet", "cell"))
    line["is_answerable"] = bool(line["key"]) and line["code"] not in _MENDED_IN_SURVEY
    line["line_id"] = hashlib.sha256(what.encode()).hexdigest()[:20]
    return line


def _plain(value: Any) -> Any:
    if value is None or pd.isna(value):
        return ""
    return value if isinstance(value, str) else int(value)


def _limit(memory_bytes: int, written_bytes: int) -> None:
    """Limits that the system keeps, where it has such."""
    try:
        import resource  # noqa: PLC0415 - not on every system
    except ImportError:
        return
    for what, most in ((resource.RLIMIT_AS, memory_bytes), (resource.RLIMIT_FSIZE, written_bytes)):
        _, hard = resource.getrlimit(what)
        top = most if hard == resource.RLIM_INFINITY else min(most, hard)
        resource.setrlimit(what, (top, hard))


def main() -> None:
    """Read jobs from standard input until it ends."""
    memory_bytes, written_bytes = (int(a) for a in sys.argv[1:3])
    _limit(memory_bytes, written_bytes)
    # the pipe is ours alone: whatever a library prints must not get into it
    pipe = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)

    def tell(message: dict[str, Any]) -> None:
        pipe.write(json.dumps(message) + "\n")
        pipe.flush()

    tell({"ready": True})
    for line in sys.stdin:
        tell(do_job(json.loads(line), tell))


if __name__ == "__main__":
    main()

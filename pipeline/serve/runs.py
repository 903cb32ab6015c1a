"""Finished run folders below outputs/: which there are, and the files of each that are served."""

from __future__ import annotations

import html
import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from pipeline.serve.refused import RefusedError

FILES: Final = {
    "programme.xlsx": "Programme",
    "schedule.xlsx": "Procurement schedule",
    "questions.xlsx": "Questions",
    "public_summary.csv": "Public summary",
}
_WITHIN: Final = {"schedule.xlsx": "procurement/schedule.xlsx"}
_PLAIN: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,99}")
_NUMBER: Final = re.compile(r"run-(\d{3,9})")
_POLICY: Final = re.compile(
    r"""<meta http-equiv="Content-Security-Policy" content="([^"]{1,20000})">"""
)
_LOOKED_AT: Final = 200_000
_LARGEST_RECORD_BYTES: Final = 50_000_000


@dataclass(frozen=True)
class Run:
    """A finished run: programme and name of its folder, and what its record says."""

    programme: str
    name: str
    folder: Path
    run_id: str
    planning_date: str
    has_map: bool


def runs_below(outputs: Path) -> list[Run]:
    """Finished runs, programme by programme, the latest first.

    Parameters
    ----------
    outputs : Path
        Folder that holds <programme>/<run>/.

    Returns
    -------
    list of Run
        By name of programme; within it by number of the run, highest first; others after them.
    """
    out = []
    for programme in _folders(outputs):
        found = [run for f in _folders(programme) if (run := _run(programme.name, f)) is not None]
        out += sorted(found, key=lambda r: (-_number(r.name), r.name))
    return out


def _folders(parent: Path) -> list[Path]:
    """Folders with plain names; links are not followed."""
    if not parent.is_dir():
        return []
    return sorted(
        p for p in parent.iterdir()
        if _PLAIN.fullmatch(p.name) and p.is_dir() and not p.is_symlink()
    )  # fmt: skip


def _number(name: str) -> int:
    found = _NUMBER.fullmatch(name)
    return int(found[1]) if found else -1


def _run(programme: str, folder: Path) -> Run | None:
    record = folder / "run.json"
    if not _is_own(folder, record) or record.stat().st_size > _LARGEST_RECORD_BYTES:
        return None
    try:
        told = json.loads(record.read_text("utf-8"))
        run_id, day = str(told["run_id"]), str(told["planning_date"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
    has_map = _is_own(folder, folder / "map.html")
    return Run(programme, folder.name, folder, run_id, day, has_map)


def _is_own(folder: Path, file: Path) -> bool:
    """Whether a file is a plain file that lies in the folder itself."""
    return file.is_file() and file.resolve().is_relative_to(folder.resolve())


def files_of(run: Run) -> dict[str, str]:
    """Files that the run really holds: name -> words of the link."""
    return {
        name: words
        for name, words in FILES.items()
        if _is_own(run.folder, run.folder / _WITHIN.get(name, name))
    }


def one_run(outputs: Path, programme: str, name: str) -> Run:
    """The run of this name.

    Raises
    ------
    RefusedError
        When there is none.
    """
    for run in runs_below(outputs):
        if (run.programme, run.name) == (programme, name):
            return run
    raise RefusedError("There is no such run.", mend="Choose one from the list.", status=404)


def file_of(run: Run, name: str) -> Path:
    """One of the workbooks of a run.

    Raises
    ------
    RefusedError
        For any other name, or where the run lacks it.
    """
    path = run.folder / _WITHIN.get(name, name)
    if name not in FILES or not _is_own(run.folder, path):
        raise RefusedError("The run holds no such file.", mend="Choose from the list.", status=404)
    return path


def map_of(run: Run) -> tuple[Path, str]:
    """The map of a run and the content policy that it carries.

    Returns
    -------
    path, policy
        The policy of the page itself, which names each of its scripts by its sum.

    Raises
    ------
    RefusedError
        When there is no map, or it has no policy of its own.
    """
    path = run.folder / "map.html"
    if not run.has_map:
        raise RefusedError("The run has no map.", mend="Choose another.", status=404)
    with path.open(encoding="utf-8", errors="replace") as file:
        found = _POLICY.search(file.read(_LOOKED_AT))
    policy = " ".join(html.unescape(found[1]).split()) if found else ""
    if "default-src 'none'" not in policy or not policy.isascii():
        raise RefusedError(
            "The map carries no content policy of its own.",
            why="It was not written by this program, or was changed.",
            mend="Run the programme again.",
            status=409,
        )
    more = (f"{name} 'none'" for name in ("form-action", "frame-ancestors") if name not in policy)
    return path, "; ".join((policy, *more))

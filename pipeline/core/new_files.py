"""Workbooks that a command is asked to write: looked at before the work, so that none is lost."""

from __future__ import annotations

import os
from pathlib import Path

from pipeline.core.errors import UsageError


def check_new_book(path: Path, *, replace: bool) -> None:
    """See that a workbook can be written under a path.

    Parameters
    ----------
    path : Path
    replace : bool
        Whether an existing file may be overwritten.

    Raises
    ------
    UsageError
        When the file exists and may not be replaced, its folder is not there, it does not end in
        .xlsx, or cannot be written.

    Notes
    -----
    That a file is held open by another program only shows when it is written.
    """
    if path.exists() and not replace:
        raise UsageError(
            f"{path} exists already.",
            why="Nothing is overwritten without your word.",
            mend="Call with --replace or name another file.",
        )
    if not path.parent.is_dir():
        raise UsageError(f"There is no folder {path.parent}.", mend="Make it first.")
    if path.suffix.lower() != ".xlsx":
        raise UsageError(f"{path.name} must end in .xlsx.", mend=f"Name it {path.stem}.xlsx.")
    if path.is_dir() or not os.access(path if path.exists() else path.parent, os.W_OK):
        raise not_writable(path)


def not_writable(path: Path) -> UsageError:
    """The fault of a workbook that cannot be written."""
    return UsageError(
        f"{path} cannot be written.",
        why="It is open in another program, or writing there is not allowed.",
        mend="Close it, or name another file.",
    )

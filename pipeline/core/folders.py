"""Run folders: written aside, moved into place whole, so that a run that dies leaves no half."""

from __future__ import annotations

import ctypes
import ctypes.util
import os
import re
import shutil
from pathlib import Path
from typing import Final

from pipeline.core.errors import UsageError

_ASIDE: Final = ".stanch-aside-"
_AT_FDCWD: Final = -100  # linux/fcntl.h
_RENAME_EXCHANGE: Final = 2  # linux/fs.h


def next_run_folder(programme_id: str) -> Path:
    """Next free outputs/<programme>/run-NNN below the current folder."""
    base = Path.cwd() / "outputs" / programme_id
    taken = [
        int(found.group(1))
        for path in (base.iterdir() if base.is_dir() else ())
        if (found := re.fullmatch(r"run-(\d{3,})", path.name))
    ]
    return base / f"run-{max(taken, default=0) + 1:03d}"


def claim(folder: Path, *, replace: bool) -> Path:
    """Make the folder beside `folder` in which a run is written.

    Raises
    ------
    UsageError
        When `folder` exists and may not be replaced, is a file, or its parent cannot be written.

    """
    if folder.exists() and not replace:
        raise UsageError(
            f"{folder} exists already.",
            why="Nothing is overwritten without your word.",
            mend="Call with --replace, or name another folder with --out.",
        )
    if folder.is_file():
        raise UsageError(f"{folder} is a file, not a folder.", mend="Name a folder with --out.")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        _sweep(folder.parent)
        aside = folder.parent / f"{_ASIDE}{folder.name}-{os.getpid()}"
        shutil.rmtree(aside, ignore_errors=True)
        aside.mkdir()
    except OSError as fault:
        raise UsageError(
            f"{folder.parent} cannot be written: {fault.strerror}.", mend="Name another --out."
        ) from None
    return aside


def put_in_place(aside: Path, folder: Path, *, replace: bool) -> None:
    """Move a finished run into place in one step; an earlier run is swapped out, then removed."""
    if not folder.exists():
        aside.rename(folder)
        return
    if not replace:
        raise UsageError(f"{folder} appeared while the run was going on.", mend="Run again.")
    if not _exchange(aside, folder):  # no atomic swap here: two renames
        old = aside.with_name(aside.name + "-old")
        folder.rename(old)
        aside.rename(folder)
        shutil.rmtree(old, ignore_errors=True)
        return
    shutil.rmtree(aside, ignore_errors=True)


def _exchange(one: Path, other: Path) -> bool:
    """Swap two folders in one system call; False where the system has no such call."""
    name = ctypes.util.find_library("c")
    library = ctypes.CDLL(name, use_errno=True) if name else None
    call = getattr(library, "renameat2", None)
    if call is None:
        return False
    done = call(_AT_FDCWD, os.fsencode(one), _AT_FDCWD, os.fsencode(other), _RENAME_EXCHANGE)
    return bool(done == 0)


def _sweep(parent: Path) -> None:
    """Remove what runs that died left aside (their process is gone)."""
    for path in parent.glob(f"{_ASIDE}*"):
        found = re.search(r"-(\d+)(-old)?$", path.name)
        if found and not _is_alive(int(found.group(1))):
            shutil.rmtree(path, ignore_errors=True)


def _is_alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True

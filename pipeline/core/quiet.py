"""Keeps what a compiled solver prints by itself off the user's screen."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def quiet_solver() -> Iterator[None]:
    """Send the process's standard output nowhere while a solver runs.

    HiGHS as shipped with scipy 1.15 to 1.17 prints one line of its own ("HighsMipSolverData...")
    straight to the file descriptor, whatever its `disp` option says; `contextlib.redirect_stdout`
    does not catch that.
    """
    sys.stdout.flush()
    try:
        kept = os.dup(1)
    except OSError:  # the caller has closed standard output: nothing can be printed
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)

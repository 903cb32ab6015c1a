"""The two error channels that are exceptions; survey faults are data (see `findings`)."""

from __future__ import annotations

from collections.abc import Sequence


class UsageError(Exception):
    """A fault of the caller: a wrong call, missing file or setting. Shown in one line, exit code 4.

    Parameters
    ----------
    what : str
        What is wrong, with the file, key or value.
    why : str
        Why the run cannot go on.
    mend : str
        What to do about it.
    """

    def __init__(self, what: str, *, why: str = "", mend: str = "") -> None:
        self.what, self.why, self.mend = what, why, mend
        super().__init__(" ".join(part for part in (what, why, mend) if part))


class ContractBreach(Exception):
    """A fault of ours: a stage handed over a table that breaks its schema. Exit code 3.

    Parameters
    ----------
    stage, table, column, check : str
        Where the breach is and which check failed.
    count : int
        Number of rows that fail.
    keys : sequence of str
        The first keys that fail.
    """

    def __init__(
        self,
        stage: str,
        *,
        table: str,
        column: str,
        check: str,
        count: int,
        keys: Sequence[str] = (),
    ) -> None:
        self.stage, self.table, self.column, self.check = stage, table, column, check
        self.count, self.keys = count, tuple(keys)
        first = f" First: {', '.join(self.keys)}." if self.keys else ""
        super().__init__(
            f"Stage {stage} handed over table {table!r} with {count} rows that fail "
            f"{check!r} in column {column!r}.{first}"
        )

"""A request that is not served: one line for the person at the browser."""

from __future__ import annotations


class RefusedError(Exception):
    """A request that is refused, with what, why and how to mend.

    Parameters
    ----------
    what, why, mend : str
        As in `core.errors.UsageError`.
    status : int
        HTTP status of the answer.
    """

    def __init__(self, what: str, *, why: str = "", mend: str = "", status: int = 400) -> None:
        self.what, self.why, self.mend, self.status = what, why, mend, status
        super().__init__(" ".join(part for part in (what, why, mend) if part))

"""The words of holds taken apart again: what holds an end, and who releases it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

ENVELOPE: Final = "outside what the sealant was tested for: "
_ONE: Final = re.compile(r"(.+?) \(released by (.+?)\)(?=; |$)")


@dataclass(frozen=True)
class Hold:
    """One hold of an end in words."""

    what: str
    released_by: str

    @property
    def asked(self) -> str:
        """What the one who releases is asked for."""
        if self.what.startswith(ENVELOPE):
            return (
                "whether a seal outside the tested figures may stand, and how built: "
                + self.what.removeprefix(ENVELOPE)
            )
        return f"to settle and release: {self.what}"


def holds_in(words: str) -> list[Hold]:
    """The holds in the words of an end.

    Parameters
    ----------
    words : str
        Column `hold_words` of the table designs.

    Returns
    -------
    list of Hold
        In the order of the words.
    """
    return [Hold(m.group(1).removeprefix("; "), m.group(2)) for m in _ONE.finditer(words)]

"""Text that no spreadsheet takes for a formula."""

from __future__ import annotations

import re
from typing import Final

# Triggers of OWASP "CSV Injection" and ASVS 1.2.10, with the full-width forms (from memory of a
# later OWASP text).
_TRIGGER: Final = re.compile(r"^[=+\-@\t\r\n\x00＝＋－＠]")


def harmless_text(text: str) -> str:
    """Prefix an apostrophe where a spreadsheet would read the text as a formula.

    Only for text: numbers are written as numbers, so a level of -0.35 stays one.
    """
    clean = text.replace("\x00", "")
    return f"'{clean}" if _TRIGGER.match(clean) else clean

"""Cautions on the papers: our words, the words and local codes that the settings put in their place.

Every caution has a code: the code of the rule that raises it, or one of the general ones here.
The papers remind; local codes, permits, the owner's rules and licensed practice decide.

References
----------
Common practice, no source; headings as in job descriptions of the trade.

"""

from __future__ import annotations

import difflib
from collections.abc import Collection
from typing import Final

from pipeline.core.errors import UsageError
from pipeline.core.settings import Cautions

ALWAYS: Final = "always"
MATERIALS: Final = "materials"
RELEASE: Final = "release"
GENERAL: Final[dict[str, str]] = {
    ALWAYS: "Local codes, permits and the owner's rules decide. Stop and tell: damaged cable, smell "
    "of gas, sudden water, anything that is not on this sheet.",
    "gas": "Ducts bring gas from elsewhere, and a seal can change where it goes: test at each mouth, "
    "no flame and no spark until clear; tell the gas-risk holder of the building.",
    "solvents": "Sealant, degreaser and smoothing liquid: data sheets at hand, gloves, eyes covered, "
    "air, no ignition; stored and carried as their hazard class asks.",
    "lifting": "Covers, lifting, sharp edges, traffic, falls: signs and guards before a cover is "
    "moved, lifting tools, nobody alone at an open chamber.",
    "sewage": "Water in ducts may carry sewage: cover cuts, wash before eating, sealed clothing for "
    "wet work.",
}


def caution_words(code: str, words: str, settings: Cautions) -> str:
    """The words of a caution as the papers print them.

    Parameters
    ----------
    code : str
        Code of the rule, or a general one.
    words : str
        Our own words.
    settings : Cautions
        Words and local codes of the programme.

    Returns
    -------
    str
        A caution that the settings leave without a local code says nothing of one; the last
        caution of every sheet (`always`) then says that none is named.

    """
    said = settings.texts.get(code, words)
    named = settings.local_codes.get(code)
    if named:
        return f"{said} Local code: {named}."
    if code == ALWAYS and not settings.local_codes:
        where = f" for {settings.country}" if settings.country else ""
        return f"{said} No local code is named{where}: ask which ones apply."
    return said


def general(code: str, settings: Cautions) -> str:
    """A general caution in the programme's words."""
    return caution_words(code, GENERAL[code], settings)


def check_codes(settings: Cautions, known: Collection[str]) -> None:
    """Refuse words and local codes for cautions that do not exist.

    Parameters
    ----------
    settings : Cautions
    known : collection of str
        Codes of the rules that bear a caution.

    Raises
    ------
    UsageError

    """
    every = sorted({*known, *GENERAL})
    for code in (*settings.texts, *settings.local_codes):
        if code not in every:
            near = difflib.get_close_matches(code, every, n=3, cutoff=0.4)
            raise UsageError(
                f"[cautions] there is no caution {code}.",
                mend=f"Nearest: {', '.join(near or every)}.",
            )

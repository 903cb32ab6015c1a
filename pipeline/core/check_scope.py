"""What a check looks at beside the files that are named, and what it leaves to a run."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from pipeline.core.rules import rules
from pipeline.core.settings import Settings

SEALS: Final = "designed seals"
PLACES, LEVELS, FLOODS, LIMITS = "places", "levels", "floods", "limits of the settings"
NEEDS: Final = (PLACES, LEVELS, FLOODS, LIMITS, SEALS)
"""What a check may need, in the order in which it is told."""

_BY_STAGE: Final = {"flood": FLOODS, "levels": LEVELS, "design": SEALS}
_BY_FAMILY: Final = {"place": PLACES, "level": LEVELS, "water": FLOODS}
# of other families, and yet about where things stand
_OF_PLACES: Final = frozenset({"file-25", "visit-09"})


def need_of(code: str) -> str:
    """What the check of a rule needs beside the survey; one of NEEDS."""
    if code in _OF_PLACES:
        return PLACES
    by_family = _BY_FAMILY.get(code.partition("-")[0], LIMITS)
    return _BY_STAGE.get(rules()[code].stage, by_family)


def by_need(codes: Iterable[str]) -> dict[str, list[str]]:
    """Codes of checks by what they need, in the order of NEEDS; needs without a check are absent."""
    found: dict[str, list[str]] = {}
    for code in codes:
        found.setdefault(need_of(code), []).append(code)
    return {need: sorted(found[need]) for need in NEEDS if need in found}


@dataclass(frozen=True)
class Scope:
    """Files of the settings that a check of named files reads besides, and those it does not."""

    read: tuple[tuple[str, tuple[str, ...]], ...]  # words of a kind, names of its files
    not_read: tuple[str, ...]

    def lines(self) -> list[str]:
        """The scope in words."""
        kinds = [f"{words} ({', '.join(names)})" for words, names in self.read if names]
        kinds.append("regions, floods and ground")
        out = [f"Read besides, as the settings name them: {'; '.join(kinds)}."]
        if self.not_read:
            some = (
                "1 survey file" if len(self.not_read) == 1 else f"{len(self.not_read)} survey files"
            )
            out.append(
                f"Not read: {some} of the settings ({', '.join(self.not_read)}). What stands only "
                "there looks missing here; name all of them to check them together."
            )
        return out


def scope_of(settings: Settings, files: Sequence[Path]) -> Scope:
    """What a check of some files reads of the settings.

    Parameters
    ----------
    settings : Settings
        As the settings file gives them.
    files : sequence of Path
        Files that were named in the call; they stand in place of the survey files of the settings.

    Returns
    -------
    Scope
    """
    surveys = settings.surveys
    given = {f.resolve() for f in files}
    kinds = (
        ("GPS files", [f for gps in surveys.gps for f in gps.files]),
        ("answers", surveys.answers),
        ("records", surveys.records),
        ("releases", surveys.releases),
    )
    read = tuple((words, tuple(f.name for f in found)) for words, found in kinds)
    missing = [w for f in surveys.files if (w := _missing(f.resolve(), given))]
    return Scope(read, tuple(missing))


def _missing(named: Path, given: set[Path]) -> str:
    """How a survey file of the settings is missing among those given; '' where it is not."""
    if named in given or (named.suffix.lower() == ".csv" and named.parent in given):
        return ""
    return (
        f"{named.name} but for what was named"
        if any(named in f.parents for f in given)
        else named.name
    )

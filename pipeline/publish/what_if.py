"""What would change for an opening, a building or a site under another water or with ends closed."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import pandas as pd
from pydantic import ValidationError

from pipeline.core import contract
from pipeline.core.errors import UsageError
from pipeline.core.settings import Settings
from pipeline.core.spelling import nearest, one_meant, read_as
from pipeline.publish.stored_run import read_table
from pipeline.publish.trace_folder import Lines, RunFolder
from pipeline.tables import REGISTRY, Tables, hand_over

# what following the water needs of a run
NEEDED: Final = (
    "sites", "buildings", "chambers", "entries", "ends", "cables", "seals", "levels", "floods",
    "policies", "ground", "visits", "observations", "points", "reach", "sealed_ends",
)  # fmt: skip
_MOST_LINES: Final = 40


@dataclass(frozen=True)
class WhatIf:
    """Another water, and ends taken as closed.

    Parameters
    ----------
    raise_water_m : float
        Added to every flood level (m); negative = lower.
    event_per_year : float or None
        Design event of every site in place of its policy's (annual exceedance probability).
    closed : tuple of str
        Ends, or packages with all their ends, taken as closed by seals that hold.

    """

    raise_water_m: float = 0.0
    event_per_year: float | None = None
    closed: tuple[str, ...] = ()

    @property
    def is_asked(self) -> bool:
        """Whether anything differs from the run."""
        return bool(self.raise_water_m or self.event_per_year or self.closed)


def stored_tables(folder: Path, names: Collection[str] = NEEDED) -> Tables:
    """Tables of a run folder in their registered types.

    Parameters
    ----------
    folder : Path
        Run folder.
    names : collection of str

    Returns
    -------
    Tables

    Raises
    ------
    UsageError
        A table is not there.

    """
    found: Tables = {}
    for name in names:
        path = folder / "tables" / f"{name}.csv"
        if not path.is_file():
            raise UsageError(
                f"{folder} holds no tables/{name}.csv.",
                why="What-if answers are worked out from the tables of a run.",
                mend="Run the programme again with this version.",
            )
        raw = read_table(folder, name)
        kinds = {c.name: c.kind for c in REGISTRY[name].columns}
        typed = {c: _typed(raw[c], kinds[c]) for c in raw.columns if c in kinds}
        found[name] = pd.DataFrame(typed)
    return hand_over("run folder", found)


def _typed(values: pd.Series, kind: str) -> Any:
    known = values.where(values != "", None)
    if kind == "real":
        return pd.to_numeric(known).astype("float64")
    if kind == "whole":
        return pd.to_numeric(known).astype("Int64")
    if kind == "flag":
        return known.map({"True": True, "False": False}).astype("boolean")
    return known


def stored_settings(folder: Path) -> Settings:
    """Settings that a run was made with."""
    try:
        return Settings.model_validate(RunFolder(folder).record.get("settings"))
    except ValidationError:
        raise UsageError(
            f"{folder}/run.json does not hold the settings of the run.",
            why="What-if answers are worked out under the settings that the run was made with.",
            mend="Run the programme again with this version.",
        ) from None


def changed_water(tables: Tables, change: WhatIf) -> Tables:
    """Tables with the other water.

    Parameters
    ----------
    tables : Tables
    change : WhatIf

    Returns
    -------
    Tables
        floods and policies are new, the others as they were.

    """
    floods, policies = tables["floods"].copy(), tables["policies"].copy()
    floods["level_m"] = floods["level_m"] + change.raise_water_m
    if change.event_per_year:
        policies["design_aep_per_year"] = change.event_per_year
    return {**tables, "floods": floods, "policies": policies}


def named_closed(folder: Path, tables: Tables, change: WhatIf) -> tuple[WhatIf, list[str]]:
    """The change with its closed ids as the run spells them, and what was read another way.

    Parameters
    ----------
    folder : Path
        Run folder.
    tables : Tables
        With `reach`.
    change : WhatIf

    Returns
    -------
    WhatIf, list of str

    Raises
    ------
    UsageError
        An id that is no opening with a seal and no package of the run.

    """
    packages = {p["package_id"] for p in RunFolder(folder).rows("packages")}
    known = sorted(packages | _sealable(tables))
    found: list[str] = []
    said: list[str] = []
    for name in change.closed:
        meant = one_meant(name, known)
        if not meant:
            near = nearest(name, known)
            raise UsageError(
                f"{name} is no end that a seal could close, and no package of this run.",
                mend=f"Nearest: {', '.join(near)}." if near else "Ends stand in tables/reach.csv.",
            )
        found.append(meant)
        said += read_as(name, meant)
    return replace(change, closed=tuple(found)), said


def closed_ends(folder: Path, tables: Tables, wanted: Collection[str]) -> tuple[str, ...]:
    """Ends behind the ids named: an end itself, an entry, or all ends of a package.

    Parameters
    ----------
    folder : Path
        Run folder.
    tables : Tables
        With `reach`.
    wanted : collection of str
        Ids as `named_closed` gives them.

    Returns
    -------
    tuple of str

    """
    run = RunFolder(folder)
    ends = _sealable(tables)
    found: set[str] = set()
    for name in wanted:
        package = run.one("packages", package_id=name)
        if package is not None:
            found |= {e.strip() for e in package["end_ids"].split(";") if e.strip()}
        elif name in ends:
            found.add(name)
    return tuple(sorted(found))


def _sealable(tables: Tables) -> set[str]:
    """Openings that a seal could close."""
    reach = tables["reach"]
    return set(reach.loc[reach["is_sealable"].fillna(value=False), "opening_id"])


def what_if_lines(
    thing: tuple[str, str], before: pd.DataFrame, after: pd.DataFrame, change: WhatIf
) -> list[str]:
    """Openings before and after, in words.

    Parameters
    ----------
    thing : (kind, id)
    before, after : DataFrame
        `reach` of the run and of the what-if.
    change : WhatIf

    Returns
    -------
    list of str
        Lines to print.

    """
    kind, an_id = thing
    column = {"opening": "opening_id", "building": "building_id", "site": "site_id"}.get(
        kind, "chamber_id"
    )
    # mouths in chambers are a chamber's affair; of a building or a site the walls count
    walls = kind in {"building", "site"}
    old, new = (
        frame[
            (frame[column] == an_id) & ~(walls & (frame["opening_kind"] == "chamber end"))
        ].set_index("opening_id")
        for frame in (before, after)
    )
    lines = [(0, f"What if {_words(change)}: {kind} {an_id}"), *_counts(old, new)]
    if walls:
        lines += list(_first(old, new))
    lines += list(_openings(old, new))
    lines.append((0, "Worked out anew from the tables of the run; nothing in the run is changed."))
    return [f"{'  ' * depth}{text}" for depth, text in lines]


def _words(change: WhatIf) -> str:
    words = []
    if change.event_per_year:
        words.append(f"the design event were 1 in {round(1 / change.event_per_year):,} a year")
    if change.raise_water_m:
        side = "higher" if change.raise_water_m > 0 else "lower"
        words.append(f"every water stood {abs(change.raise_water_m):.2f} m {side}")
    if change.closed:
        words.append(f"{', '.join(change.closed)} were closed by seals that hold")
    return " and ".join(words)


def _counts(old: pd.DataFrame, new: pd.DataFrame) -> Lines:
    for name in contract.CLASSES:
        was, now = int((old["level_class"] == name).sum()), int((new["level_class"] == name).sum())
        if was or now:
            yield 1, f"{name}: {was} -> {now}"


def _first(old: pd.DataFrame, new: pd.DataFrame) -> Lines:
    """The opening that lets water in most often, before and after."""
    words = []
    for frame in (old, new):
        known = frame[frame["onset_chance_per_year"] > 0.0]
        if known.empty:
            words.append("none known")
            continue
        row = known.sort_values("onset_chance_per_year", ascending=False, kind="stable").iloc[0]
        bound = "" if pd.isna(row["onset_bound"]) else f"{row['onset_bound']} ".lstrip()
        words.append(f"{row.name}, {bound}1 in {round(1 / row['onset_chance_per_year']):,} a year")
    yield 1, f"first to let water in: {words[0]} -> {words[1]}"


def _openings(old: pd.DataFrame, new: pd.DataFrame) -> Lines:
    changed = [
        i
        for i in old.index
        if old.at[i, "level_class"] != new.at[i, "level_class"]
        or _margin(old.loc[i]) != _margin(new.loc[i])
    ]
    same = len(old) - len(changed)
    for i in changed[:_MOST_LINES]:
        was, now = old.loc[i], new.loc[i]
        before = f"{i}: {was['level_class']}, {_margin(was)}"
        if str(now["reason"]).startswith("taken as closed"):
            yield 1, f"{before} -> {now['reason']}"
            continue
        yield (
            1,
            f"{before} -> {now['level_class']}, {_margin(now)}. {now['reason']}.",
        )
    if len(changed) > _MOST_LINES:
        yield 1, f"and {len(changed) - _MOST_LINES} more openings change"
    if same:
        yield 1, f"{same} {'opening stays' if same == 1 else 'openings stay'} as in the run"


def _margin(row: pd.Series) -> str:
    if pd.isna(row["margin_mm"]):
        return "margin not known"
    least = "at least " if bool(row["margin_is_bound"]) else ""
    return f"{least}{row['margin_mm']:+.0f} mm"

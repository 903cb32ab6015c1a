"""The openings of each building as arrays: chances by mechanism, levels, what a seal can close."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pipeline.core import contract
from pipeline.core.lost import possible_buildings

NO_BENEFIT_HOLDS: Final = (contract.HOLD_DESIGN, contract.HOLD_ORDER)
_UNKNOWN_CLASSES: Final = (contract.NO_LEVEL, contract.NO_FLOOD)
_IN_CHAMBER: Final = "chamber end"
_NOT_NAMED: Final = "mechanism not named"


@dataclass(frozen=True)
class Openings:
    """Openings of one building, one row each, sorted by id; columns of chances are mechanisms.

    `sure_per_year`: the part of `chance_per_year` over ways on which nothing is taken as open
    because it is not known. `is_candidate`: a seal can close it, it is not `above`, and design asks for the seal.
    `is_held`: no benefit until released. `is_unknown`: its chance is not known.
    """

    ids: tuple[str, ...]
    kinds: tuple[str, ...]
    bounds: tuple[str, ...]
    mechanisms: tuple[str, ...]
    chance_per_year: npt.NDArray[np.float64]
    sure_per_year: npt.NDArray[np.float64]
    level_m: npt.NDArray[np.float64]
    is_candidate: npt.NDArray[np.bool_]
    is_held: npt.NDArray[np.bool_]
    is_unknown: npt.NDArray[np.bool_]
    is_above: npt.NDArray[np.bool_]
    unsurveyed: tuple[str, ...]

    @property
    def is_gate_unknown(self) -> npt.NDArray[np.bool_]:
        """Openings of unknown chance that no seal of ours closes."""
        return self.is_unknown & ~self.is_candidate


def by_building(tables: Mapping[str, Any]) -> dict[str, Openings]:
    """Openings of every building of `buildings`, in order of id.

    Parameters
    ----------
    tables : mapping of DataFrame
        reach, reach_sources, designs, buildings, entries, ends, chambers.

    Returns
    -------
    dict
        building_id -> Openings; a building without openings has an empty one.
    """
    reach = tables["reach"]
    walls = reach[reach["building_id"].notna() & (reach["opening_kind"] != _IN_CHAMBER)]
    sources = tables["reach_sources"]
    every = sources["chance_per_year"]
    chances = _chances(sources, every)
    sure = _chances(sources, sources["sure_chance_per_year"].fillna(every))
    designs = tables["designs"].set_index("end_id")
    states = {
        str(i): (bool(need), bool(drawn), str(hold))
        for i, need, drawn, hold in zip(
            designs.index,
            designs["is_needed"],
            designs["is_designed"],
            designs["hold_reach"],
            strict=True,
        )
    }
    rows_of: dict[str, list[dict[str, Any]]] = {}
    for row in walls.sort_values("opening_id").to_dict("records"):
        rows_of.setdefault(str(row["building_id"]), []).append(row)
    lost = _lost(tables)
    return {
        str(b["building_id"]): _openings(
            rows_of.get(str(b["building_id"]), []),
            (chances, sure),
            states,
            b,
            lost=lost.get(str(b["building_id"]), []),
        )
        for b in tables["buildings"].sort_values("building_id").to_dict("records")
    }


def _lost(tables: Mapping[str, Any]) -> dict[str, list[dict[str, Any]]]:
    """Openings without a known building, under every building that each may belong to."""
    reach = tables["reach"]
    away = reach[(reach["opening_kind"] != _IN_CHAMBER) & (reach["level_class"] != contract.ABOVE)]
    may_be_in = possible_buildings(dict(tables))
    out: dict[str, list[dict[str, Any]]] = {}
    for row in away.sort_values("opening_id").to_dict("records"):
        for building in may_be_in.get(str(row["opening_id"]), ()):
            out.setdefault(building, []).append(row)
    return out


def _chances(sources: pd.DataFrame, chance_per_year: pd.Series) -> dict[str, dict[str, float]]:
    """Chance by opening and mechanism: within a mechanism the highest over its sources."""
    known = sources[chance_per_year.notna()]
    mechanism = known["mechanism"].fillna(_NOT_NAMED)
    highest = chance_per_year[known.index].groupby([known["opening_id"], mechanism]).max()
    out: dict[str, dict[str, float]] = {}
    for (opening, name), chance in highest.items():
        out.setdefault(str(opening), {})[str(name)] = float(chance)
    return out


def _openings(
    rows: list[dict[str, Any]],
    chances: tuple[Mapping[str, Mapping[str, float]], Mapping[str, Mapping[str, float]]],
    states: Mapping[str, tuple[bool, bool, str]],
    building: Mapping[str, Any],
    *,
    lost: list[dict[str, Any]],
) -> Openings:
    own_count = len(rows)
    rows = [*rows, *lost]
    is_lost = np.arange(len(rows)) >= own_count
    known = [_chance_of(r, chances[0]) for r in rows]
    mechanisms = tuple(sorted({m for k in known for m in k}))
    table = np.full((len(rows), len(mechanisms)), np.nan)
    for i, by_mechanism in enumerate(known):
        for j, name in enumerate(mechanisms):
            # a mechanism without a way to this opening does not wet it
            table[i, j] = by_mechanism.get(name, 0.0 if by_mechanism else np.nan)
    above = np.array([r["level_class"] == contract.ABOVE for r in rows], dtype=np.bool_)
    no_figure = np.array([not k for k in known], dtype=np.bool_)
    unknown_class = np.array([r["level_class"] in _UNKNOWN_CLASSES for r in rows], dtype=np.bool_)
    # `above` is proved on the whole way: without any source that gets there it is not unknown
    # a flood row that could not be used: the chances that are left are lower bounds, no figures
    no_onset = np.array([bool(pd.isna(r["onset_chance_per_year"])) for r in rows], dtype=np.bool_)
    unknown = unknown_class | ((no_figure | no_onset) & ~above)
    table[no_figure & above] = 0.0
    table[unknown] = np.nan
    sure = table.copy()
    for i, row in enumerate(rows):
        for j, name in enumerate(mechanisms):
            if known[i] and not unknown[i]:
                part = chances[1].get(str(row["opening_id"]))
                sure[i, j] = table[i, j] if part is None else part.get(name, 0.0)
    candidate, held = _seal_states(rows, above, states)
    # no seal of this building closes them for certain, and what they let in is no exact figure
    candidate, held, unknown = candidate & ~is_lost, held & ~is_lost, unknown | is_lost
    return Openings(
        ids=tuple(str(r["opening_id"]) for r in rows),
        kinds=tuple(str(r["opening_kind"]) for r in rows),
        bounds=tuple(_text(r["onset_bound"]) for r in rows),
        mechanisms=mechanisms,
        chance_per_year=table,
        sure_per_year=sure,
        level_m=np.array([_number(r["let_in_level_m"], r["opening_level_m"]) for r in rows]),
        is_candidate=candidate,
        is_held=held,
        is_unknown=unknown,
        is_above=above,
        unsurveyed=_unsurveyed(rows, building),
    )


def _chance_of(
    row: Mapping[str, Any], chances: Mapping[str, Mapping[str, float]]
) -> dict[str, float]:
    found = chances.get(str(row["opening_id"]))
    if found:
        return dict(found)
    onset = row["onset_chance_per_year"]
    if pd.isna(onset):
        return {}
    return {_text(row["mechanism"]) or _NOT_NAMED: float(onset)}


def _seal_states(
    rows: list[dict[str, Any]],
    above: npt.NDArray[np.bool_],
    states: Mapping[str, tuple[bool, bool, str]],
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    candidate = np.zeros(len(rows), dtype=np.bool_)
    held = np.zeros(len(rows), dtype=np.bool_)
    for i, row in enumerate(rows):
        needed, drawn, hold = states.get(str(row["opening_id"]), (False, False, contract.HOLD_NONE))
        candidate[i] = bool(row["is_sealable"]) and not above[i] and needed
        held[i] = candidate[i] and (hold in NO_BENEFIT_HOLDS or not drawn)
    return candidate, held


def _unsurveyed(rows: list[dict[str, Any]], building: Mapping[str, Any]) -> tuple[str, ...]:
    """Kinds of opening that nobody looked for: blank is not 'none'."""
    kinds = {str(r["opening_kind"]) for r in rows}
    others = _text(building.get("other_openings"))
    out = []
    if "door" not in kinds:
        out.append("door")
    if "vent" not in kinds and "none seen" not in others:
        out.append("vent")
    if others == "" or "not checked" in others:
        out.append("drain, hatch or crack")
    return tuple(out)


def _text(value: Any) -> str:
    return "" if value is None or pd.isna(value) else str(value)


def _number(*values: Any) -> float:
    for value in values:
        if not pd.isna(value):
            return float(value)
    return float("nan")

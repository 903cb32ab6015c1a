"""Which ends are to be sealed, and why; and what cannot be drawn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from pipeline.core.contract import ABOVE, REFUSED
from pipeline.core.materials import Materials
from pipeline.core.settings import Settings
from pipeline.design.case import KEEP, Case
from pipeline.design.facts import Facts, number, text
from pipeline.design.geometry import Opening, opening
from pipeline.design.head import Head
from pipeline.design.section import Section, Strand

_DESIGN_COLUMNS: Final = frozenset(
    {"shape", "bore_mm", "bore_b_mm", "contents", "parent_end_id", "material"}
)
# A sub-duct whose outside nobody measured: wall of 1/12 of its bore (house rule; close to the
# common plastic pipes, from memory). Cables lie singly unless the survey says otherwise.
_SUB_DUCT_WALL: Final = 1.0 / 12.0
_KINDS: Final = ("flat touching", "trefoil", "bundle")


def need_of(
    facts: Facts, *, settings: Settings, materials: Materials, head: Head
) -> tuple[bool, str]:
    """Whether an end is to be sealed, and why in words.

    Parameters
    ----------
    facts : Facts
    settings : Settings
    materials : Materials
    head : Head

    Returns
    -------
    is_needed : bool
        True unless the end is `above`, in a chamber, or closed by a rated seal that is kept. An
        end that is to be gas-tight is sealed also where no water comes.
    reason : str
    """
    if text(facts.sealed, "is_closed") == "True":
        record, day = text(facts.sealed, "install_id"), text(facts.sealed, "accepted_on")
        return False, f"closed by a seal of ours, accepted on {day} (record {record})"
    if facts.is_chamber_end:
        return False, "chamber end: sealed at the wall"
    case = Case(facts, settings, materials, head)
    if case.old_seal == KEEP:
        return False, "closed by a seal that is inspected, sound and rated for the head: kept"
    level_class = text(facts.reach, "level_class")
    gas = case.gas_reason
    if level_class == ABOVE:
        why = "above: " + (text(facts.reach, "reason") or "water does not reach it")
        return (True, f"gas-tight: {gas}; {why}") if gas else (False, why)
    if not level_class:
        return True, "no class known: counts as below"
    reason = text(facts.reach, "reason")
    return True, f"{level_class}: {reason}" if reason else level_class


def not_drawable(facts: Facts) -> str:
    """Why no cross-section can be drawn from the survey, in words; '' where one can."""
    end = facts.end
    shape = text(end, "shape")
    tests = (
        (
            text(end, "seen") in ("counted only", "not reached"),
            f"{text(end, 'seen')}, not measured",
        ),
        (bool(end.get("is_unlisted")), "counted on the wall but not listed"),
        (_is_stopped(facts), "a refused value: see the questions"),
        (not number(end, "bore_mm") > 0.0, "inside size not known"),
        (shape in ("", "not seen"), "shape not seen"),
        (
            shape not in ("round", "sub-duct") and not number(end, "bore_b_mm") > 0.0,
            "second inside size not known",
        ),
        (_contents_unknown(facts), "contents not known"),
        (_is_changed(facts), "cables changed since the survey: send their rows"),
    )
    return next((words for is_so, words in tests if is_so), "")


def _is_stopped(facts: Facts) -> bool:
    if facts.stopped & _DESIGN_COLUMNS:
        return True
    return text(facts.end, "row_state") == REFUSED and not facts.stopped


def _is_changed(facts: Facts) -> bool:
    """A seal of ours was opened for cables that the survey does not list yet."""
    if text(facts.sealed, "is_changed") != "True":
        return False
    listed = sum(number(c, "cable_count") for c in facts.cables)
    return listed != number(facts.sealed, "cables_now_count")


def _contents_unknown(facts: Facts) -> bool:
    """Contents that are not seen, silted, or cables without number and size."""
    contents = text(facts.end, "contents")
    if any(
        not number(c, "diameter_mm") > 0.0 or not number(c, "cable_count") >= 1.0
        for c in facts.cables
    ):
        return True
    if facts.cables:
        return contents in ("silted", "not seen")
    if contents == "sub-ducts":
        return not facts.children or any(
            not number(c, "bore_mm") > 0.0 and not number(c, "nominal_mm") > 0.0
            for c in facts.children
        )
    # an entry without ends lists its cables by the entry; none listed = nothing known of them
    return contents not in ("empty", "draw cord only", "capped")


def hole_of(facts: Facts) -> Opening:
    """The opening of an end that can be drawn."""
    bore_b = number(facts.end, "bore_b_mm")
    return opening(
        text(facts.end, "shape"),
        number(facts.end, "bore_mm"),
        0.0 if math.isnan(bore_b) else bore_b,
    )


def strands_of(facts: Facts) -> tuple[Strand, ...]:
    """The cables and sub-ducts of an end one by one, in groups that move as one.

    Notes
    -----
    Rows of one group number in trefoil or bundle are one group; trefoils are made in threes, what
    is left over lies singly. A flat row is one group per row of the survey.
    """
    groups: dict[tuple[str, str], list[tuple[dict[str, object], float]]] = {}
    for cable in facts.cables:
        kind = text(cable, "arrangement")
        kind = kind if kind in _KINDS else "single"
        number_text = text(cable, "group_no")
        name = number_text if number_text and kind != "flat touching" else text(cable, "cable_id")
        rows = groups.setdefault((kind, name), [])
        rows += [(cable, number(cable, "diameter_mm"))] * int(number(cable, "cable_count"))
    out: list[Strand] = []
    group_no = 0
    for (kind, _), members in groups.items():
        start = 0
        for size, part_kind in _parts(kind, len(members)):
            group_no += 1
            part, start = members[start : start + size], start + size
            out += [_strand(cable, d, part_kind, group_no) for cable, d in part]
    for child in facts.children:
        group_no += 1
        outer = number(child, "nominal_mm")
        bore = number(child, "bore_mm")
        if not outer > bore:
            outer = bore * (1.0 + 2.0 * _SUB_DUCT_WALL)
        material = text(child, "material") or "unknown"
        out.append(Strand(text(child, "end_id"), "sub-duct", material, outer, "single", group_no))
    return tuple(out)


def _parts(kind: str, count: int) -> Sequence[tuple[int, str]]:
    if kind == "trefoil":
        return [(3, kind)] * (count // 3) + [(1, "single")] * (count % 3)
    return [(1, kind)] * count if kind == "single" else [(count, kind)]


def _strand(cable: dict[str, object], outer_mm: float, kind: str, group_no: int) -> Strand:
    return Strand(
        text(cable, "cable_id"),
        text(cable, "cable_class") or "unknown",
        text(cable, "covering") or "unknown",
        outer_mm,
        kind,
        group_no,
    )


def overfull(section: Section | None) -> str:
    """Why a drawn section cannot be: '' where the cables found a place."""
    return "" if section is not None else "the listed cables find no place in the opening"

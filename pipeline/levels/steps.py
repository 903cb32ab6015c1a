"""The steps from a known point to the lowest edge of an opening, each on the side that lets in.

What a row leaves blank is taken so that the level comes out no higher than any answer would make
it (law 1 of the house): an unknown reference is the lowest one, an unknown edge the farthest from the
bottom, an unknown size the largest of its column.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from pipeline.core.doubts import usual_u_m
from pipeline.levels.chain import Level, method_gap
from pipeline.levels.visits import Visit, doubt_gap, text

_FROM_A_MARK: Final = ("levelled", "total station", "tape")
_LONG_DIP_M: Final = 3.0
_THICKEST_FRAME_MM: Final = 300.0  # upper end of the survey's range for frames
_WALL_FRAC: Final = 0.08  # house rule: wall of a duct over its bore
_LEAST_WALL_MM: Final = 3.0
# the lip of a bell lies under the invert behind it, so to take it as it is can only wet
_BOTTOM: Final = ("invert", "lowest edge", "invert of lowest duct", "sill of bell mouth")
_UNSEEN: Final = ("counted only", "not reached", "")


@dataclass(frozen=True)
class Opening:
    """A row with its site, visit and size, and where its cells are.

    `frame_from` says where dips at its chamber start: 'cover top', 'frame', 'slab top', 'floor',
    '' = not known; None = not at a chamber.
    """

    row: dict[str, Any]
    site_id: str
    visit: Visit
    cell: Callable[[dict[str, Any], str], str]
    size_mm: float = math.nan
    size_assumed: str = ""
    is_size_judged: bool = False
    chamber: dict[str, Any] | None = None
    frame_from: str | None = None


def number(value: Any) -> float | None:
    """A number of a cell; None where it is blank."""
    return None if value is None or pd.isna(value) else float(value)


def direct(opening: Opening, column: str) -> Level | None:
    """Level stated on the row itself, by the method and on the datum of its visit.

    It is on that datum still: `Points.to_working` brings it home.
    """
    row, visit = opening.row, opening.visit
    value = number(row.get(column))
    if value is None:
        return None
    words = text(row.get("level_method"))
    method = words if words in ("drawing", "judged") else visit.method
    gap = visit.date_gap or visit.geoid_gap(method) or method_gap(method) or doubt_gap(row)
    level = Level(
        value, own_m=visit.method_u_m(method), shared_key=visit.visit_id, biases=visit.biases(),
        shared=_mark_behind(visit.visit_id, method),
        gap=gap, method=method, datum=visit.datum, path=f"level {value:.3f}",
        cells=tuple(c for c in (opening.cell(row, column),) if c),
    ).at_least(number(row.get("level_u_m")) or 0.0)  # fmt: skip
    return level.without_pedigree(_row_gap(opening)) if "level_method" in row else level


def _mark_behind(visit_id: str, method: str) -> tuple[tuple[str, float], ...]:
    """Doubt of the mark that a run started from, where the row gives the level alone.

    A level by instrument is never better than its start: a mark that nobody names is taken as one
    from a satellite network (house rule), and all levels of the visit share its error.
    """
    if method not in _FROM_A_MARK:
        return ()
    return ((f"mark behind visit {visit_id or 'not named'}", usual_u_m("GNSS network")),)


def by_dip(opening: Opening, point: Level, column: str) -> Level | None:
    """Point minus dip, brought down to the lowest edge."""
    value = number(opening.row.get(column))
    if value is None:
        return None
    value = abs(value)  # dips are positive down; a minus sign is asked about and read as down
    is_felt = value > _LONG_DIP_M or text(opening.row.get("seen")) == "part"
    level = point
    if opening.frame_from is not None:
        level = from_frame(opening, level)
    word = "check dip" if column == "check_dip_down_m" else "dip"
    level = level.step(-value, f"{word} {value:.3f}", u_m=usual_u_m("long dip" if is_felt else "dip"),
                       cell=opening.cell(opening.row, column), gap=_row_gap(opening))  # fmt: skip
    return to_bottom(opening, level).at_least(number(opening.row.get("level_u_m")) or 0.0)


def by_offset(opening: Opening, point: Level, column: str) -> Level | None:
    """Point plus signed offset, brought down to the lowest edge."""
    value = number(opening.row.get(column))
    if value is None:
        return None
    level = point.step(value, f"offset {abs(value):.3f}", u_m=usual_u_m("offset"),
                       cell=opening.cell(opening.row, column), gap=_row_gap(opening))  # fmt: skip
    return to_bottom(opening, level).at_least(number(opening.row.get("level_u_m")) or 0.0)


def _row_gap(opening: Opening) -> str:
    """Why the row itself cannot clear: how it was measured, when, or what was seen is missing."""
    row = opening.row
    if doubt_gap(row):
        return doubt_gap(row)
    method = text(row.get("level_method"))
    if method in ("drawing", "judged", ""):
        return f"level method {method or 'not stated'}"
    if opening.visit.date_gap:
        return opening.visit.date_gap
    if "seen" in row and text(row["seen"]) in _UNSEEN:
        return f"mouth {text(row['seen']) or 'perhaps not seen'}"
    if "contents" in row and text(row["contents"]) in ("silted", "not seen", ""):
        # a silted duct hides its invert
        return "silted invert" if text(row["contents"]) == "silted" else "contents not seen"
    return ""


def from_frame(opening: Opening, level: Level) -> Level:
    """From the cover's top down to where the chamber's measures start.

    A frame or slab lies under the top by its thickness; where the start or the thickness is not
    known, by the thickest frame of the survey form.
    """
    start, chamber = opening.frame_from, opening.chamber or {}
    if start == "cover top":
        return level
    thick = number(chamber.get("frame_thickness_mm"))
    assumed = "" if start else "measured from an edge that is not stated, taken as the frame"
    if thick is not None:
        return level.step(-thick / 1000.0, f"frame {thick / 1000.0:.3f}", u_m=usual_u_m("frame"),
                          cell=opening.cell(chamber, "frame_thickness_mm"),
                          gap="" if start else "edge that was measured from not stated",
                          assumed=assumed)  # fmt: skip
    thickest = _THICKEST_FRAME_MM / 1000.0
    return level.step(
        -thickest,
        f"frame {thickest:.3f}",
        gap="measured from the frame, its thickness not known",
        assumed=f"measured from {start or 'an unknown edge'}: {_THICKEST_FRAME_MM:.0f} mm lower",
    )


def to_bottom(opening: Opening, level: Level) -> Level:
    """From what was measured to, down to the lowest edge where water can pass."""
    what = text(opening.row.get("measured_to"))
    if what in _BOTTOM:
        return level
    size, assumed = opening.size_mm, opening.size_assumed
    gap = "size not known" if assumed else ""
    u = usual_u_m("bore judged" if opening.is_size_judged else "bore measured")
    wall = max(_LEAST_WALL_MM, _WALL_FRAC * size)
    if what == "centre":
        return level.step(-size / 2000.0, f"half bore {size / 2000.0:.3f}", u_m=u / 2.0, gap=gap,
                          assumed=assumed)  # fmt: skip
    if what == "soffit (inside top)":
        return level.step(-size / 1000.0, f"bore {size / 1000.0:.3f}", u_m=u, gap=gap,
                          assumed=assumed)  # fmt: skip
    if what == "silt surface":
        return level.step(
            -size / 1000.0, f"whole bore {size / 1000.0:.3f} (silt)", u_m=u, gap="silted invert",
            assumed="; ".join(t for t in (assumed, "silt taken as the whole bore") if t),
        )  # fmt: skip
    down = (size + wall) / 1000.0
    if what == "outside top":
        return level.step(-down, f"bore and wall {down:.3f}", u_m=math.hypot(u, wall / 2000.0),
                          gap=gap, assumed=assumed)  # fmt: skip
    return level.step(
        -down, f"bore and wall {down:.3f}", u_m=u, gap="measured to: not stated",
        assumed="; ".join(t for t in (assumed, "measured_to taken as outside top") if t),
    )  # fmt: skip

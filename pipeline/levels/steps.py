"""The steps from a known point to the lowest edge of an opening, each on the side that lets in.

What a row leaves blank is taken so that the level comes out no higher than any answer would make
it (law 1 of the house): an unknown reference is the lowest one, an unknown edge the farthest from the
bottom, an unknown bore the largest of its column.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from pipeline.core.doubts import usual_u_m
from pipeline.core.settings import Settings
from pipeline.levels.chain import Level, method_gap
from pipeline.levels.datums import to_working_datum
from pipeline.levels.visits import Visit, text

_LONG_DIP_M: Final = 3.0
_LARGEST_BORE_MM: Final = 300.0  # upper end of the survey's range for bores
_THICKEST_FRAME_MM: Final = 300.0  # upper end of the survey's range for frames
_WALL_FRAC: Final = 0.08  # house rule: wall of a duct over its bore
_LEAST_WALL_MM: Final = 3.0
_BOTTOM: Final = ("invert", "lowest edge", "invert of lowest duct", "sill of bell mouth")


@dataclass(frozen=True)
class Opening:
    """A row with its size, visit, and where its cells are."""

    row: dict[str, Any]
    visit: Visit
    size_mm: float | None
    is_size_judged: bool
    cell: Callable[[dict[str, Any], str], str]
    chamber: dict[str, Any] | None = None


def number(value: Any) -> float | None:
    """A number of a cell; None where it is blank."""
    return None if value is None or pd.isna(value) else float(value)


def direct(opening: Opening, column: str, settings: Settings) -> Level | None:
    """Level stated on the row itself, by the method and on the datum of its visit."""
    value = number(opening.row.get(column))
    if value is None:
        return None
    visit = opening.visit
    shift = to_working_datum(visit.datum, settings)
    if shift is None:
        return None
    words = text(opening.row.get("level_method"))
    method = words if words in ("drawing", "judged") else visit.method
    stated = number(opening.row.get("level_u_m")) or 0.0
    u = max(stated, usual_u_m(method), visit.u_m if method == visit.method else 0.0)
    gap = "" if visit.date else "no date of the visit"
    level = Level(
        value, shift[1], u, visit.visit_id, visit.bias_m, gap, method, visit.datum,
        f"level {value:.3f}", (opening.cell(opening.row, column),),
    )  # fmt: skip
    if shift[0]:
        level = level.step(shift[0], shift[2])
    return _pedigree(level, method)


def _pedigree(level: Level, method: str) -> Level:
    gap = method_gap(method)
    return level.without_pedigree(gap) if gap else level


def by_dip(opening: Opening, point: Level, column: str, *, check: bool = False) -> Level | None:
    """Point minus dip, brought down to the lowest edge."""
    value = number(opening.row.get(column))
    if value is None:
        return None
    value = abs(value)  # dips are positive down; a minus sign is asked about and read as down
    u = max(usual_u_m("long dip" if value > _LONG_DIP_M else "dip"), _stated(opening))
    level = point
    if opening.chamber is not None:
        level = _from_reference(opening, level)
    level = level.step(-value, f"{'check dip' if check else 'dip'} {value:.3f}", u_m=u,
                       cell=opening.cell(opening.row, column), gap=_row_gap(opening))  # fmt: skip
    return to_bottom(opening, level)


def by_offset(opening: Opening, point: Level, column: str) -> Level | None:
    """Point plus signed offset, brought down to the lowest edge."""
    value = number(opening.row.get(column))
    if value is None:
        return None
    u = max(usual_u_m("offset"), _stated(opening))
    level = point.step(value, f"offset {abs(value):.3f}", u_m=u,
                       cell=opening.cell(opening.row, column), gap=_row_gap(opening))  # fmt: skip
    return to_bottom(opening, level)


def _stated(opening: Opening) -> float:
    return number(opening.row.get("level_u_m")) or 0.0


def _row_gap(opening: Opening) -> str:
    """Why the row itself cannot clear: its method is drawn or judged, or it has no date."""
    method = text(opening.row.get("level_method"))
    if method in ("drawing", "judged", ""):
        return f"level method {method or 'not stated'}"
    return "" if opening.visit.date else "no date of the visit"


def _from_reference(opening: Opening, level: Level) -> Level:
    """Dips from the frame or slab start below the cover's top by the frame's thickness."""
    chamber = opening.chamber
    assert chamber is not None
    start = text(opening.row.get("dip_from")) or text(chamber.get("depth_from"))
    if start == "cover top":
        return level
    thick = number(chamber.get("frame_thickness_mm"))
    if thick is not None:
        return level.step(-thick / 1000.0, f"frame {thick / 1000.0:.3f}", u_m=0.005,
                          cell=opening.cell(chamber, "frame_thickness_mm"))  # fmt: skip
    return level.step(
        -_THICKEST_FRAME_MM / 1000.0,
        f"frame {_THICKEST_FRAME_MM / 1000.0:.3f}",
        gap="dip not from the cover top, frame thickness not known",
        assumed=f"dip taken from {start or 'an unknown edge'}: {_THICKEST_FRAME_MM:.0f} mm lower",
    )


def to_bottom(opening: Opening, level: Level) -> Level:
    """From what was measured to, down to the lowest edge where water can pass."""
    what = text(opening.row.get("measured_to"))
    if what in _BOTTOM:
        return level
    size, gap, assumed = opening.size_mm, "", ""
    if size is None:
        size, gap = _LARGEST_BORE_MM, "bore not known"
        assumed = f"bore taken as {size:.0f} mm for its level"
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

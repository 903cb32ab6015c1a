"""Checks of cables: do they fit their duct, are they listed, are they whole groups."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
import pandas as pd

from pipeline.intake.checks.sizes import mouth_area_mm2, narrowest_mm
from pipeline.intake.checks.view import Check, Hit, Survey, by, by_cause, names, number_text
from pipeline.intake.context import Checked

_HOUSE_FILL: Final = 0.55  # rule duct-06, house rule
# Wider than this (mm) a tape round the cable is likelier than a diameter: common practice, no
# source. Cables for extra high voltage may be wider and are left out.
_THIN_CLASS_MM: Final = 60.0
_THICK_CLASS_MM: Final = 95.0
_THIN: Final = ("telecom", "fibre", "control", "earth")
_DIAMETER_METHODS: Final = ("gauge card", "calliper (authorised person)", "tape round")


def _in_ducts(view: Survey) -> pd.DataFrame:
    """Cable rows with diameter, area, and the size and area of the mouth that they lie in."""
    cables, ends = view.frame("cables"), view.frame("ends").drop_duplicates("end_id")
    mouths = ends.set_index("end_id")
    out = cables[["end_id", "cable_count", "cable_class", "size_method", "diameter_mm"]].copy()
    out["area_mm2"] = np.pi / 4.0 * out["diameter_mm"] ** 2 * cables["cable_count"].fillna(1.0)
    sizes = (mouths["shape"], mouths["bore_mm"], mouths["bore_b_mm"])
    widths = pd.Series(narrowest_mm(*sizes), index=mouths.index)
    areas = pd.Series(mouth_area_mm2(*sizes), index=mouths.index)
    out["mouth_mm"] = out["end_id"].map(widths).astype("float64")
    out["mouth_mm2"] = out["end_id"].map(areas).astype("float64")
    out["is_too_wide"] = out["diameter_mm"] > out["mouth_mm"]
    fill = out.groupby("end_id")["area_mm2"].transform("sum") / out["mouth_mm2"]
    out["fill_frac"] = fill
    out["has_too_wide"] = out.groupby("end_id")["is_too_wide"].transform("any")
    return out


def check_fit(view: Survey) -> Iterator[Checked]:
    """duct-04, -05 and -06: a cable wider than its duct, too many of them, or a tight fill."""
    frame = _in_ducts(view)
    for hit in view.hits("cables", frame["is_too_wide"]):
        fill = {
            "d": number_text(frame.at[hit.index, "diameter_mm"], 1),
            "bore": number_text(frame.at[hit.index, "mouth_mm"], 1),
        }
        yield from view.say("duct-04", [hit], "diameter_mm", fill=fill, values=("diameter_mm",))
    rest = ~frame["has_too_wide"].fillna(False).astype(bool)
    over = view.hits("cables", rest & (frame["fill_frac"] > 1.0))
    tight = view.hits("cables", rest & frame["fill_frac"].between(_HOUSE_FILL, 1.0, "right"))
    for code, hits, stop in (("duct-05", over, ("diameter_mm",)), ("duct-06", tight, ())):
        for group in by(hits, lambda h: h.row["end_id"]):
            frac = float(frame.at[group[0].index, "fill_frac"])
            fill = {"end": group[0].row["end_id"], "pct": number_text(100.0 * frac, 0)}
            yield from view.say(code, group, "diameter_mm", fill=fill, values=stop)


def check_tape(view: Survey) -> Iterator[Checked]:
    """duct-07: a size that is likelier the way round the cable than its diameter."""
    frame = _in_ducts(view)
    limit = np.where(frame["cable_class"].isin(_THIN), _THIN_CLASS_MM, _THICK_CLASS_MM)
    wide = (frame["diameter_mm"] > limit) & (frame["cable_class"] != "EHV")
    open_method = ~frame["size_method"].isin(_DIAMETER_METHODS)
    for hit in view.hits("cables", wide & open_method & ~frame["is_too_wide"]):
        size = float(hit.row["diameter_mm"])
        fill = {"d": number_text(size, 1), "x": number_text(size / np.pi, 1)}
        yield from view.say("duct-07", [hit], "diameter_mm", fill=fill)


def check_trefoil(view: Survey) -> Iterator[Checked]:
    """duct-08: cables in threes whose number is no multiple of three."""
    frame = view.frame("cables")
    mask = (frame["arrangement"] == "trefoil") & (frame["cable_count"] % 3 > 0)
    for group in by(view.hits("cables", mask), lambda h: (h.row["end_id"], h.row["group_no"])):
        total = sum(int(h.row["cable_count"]) for h in group)
        if len(group) == 1 or total % 3:
            yield from view.say("duct-08", group, "cable_count", fill={"n": total})


def check_contents(view: Survey) -> Iterator[Checked]:
    """duct-09 and duct-10: empty with cable rows, or cables without any."""
    frame = view.frame("ends")
    rows = view.frame("cables")["end_id"].value_counts()
    listed = frame["end_id"].map(rows).fillna(0).astype(int)
    for hit in view.hits("ends", (frame["contents"] == "empty") & (listed > 0)):
        fill = {"end": hit.id, "n": int(listed.loc[hit.index])}
        yield from view.say("duct-09", [hit], "contents", fill=fill, values=("contents",))
    full = frame["contents"] == "cables"
    eligible = view.hits("ends", full)
    for group in by_cause(view, view.hits("ends", full & (listed == 0)), eligible):
        fill = {"end": names(h.id for h in group)}
        yield from view.say("duct-10", group, "contents", fill=fill)


def check_filled(view: Survey) -> Iterator[Checked]:
    """duct-18: cables that are, or may be, filled with oil or under gas pressure."""
    frame = view.frame("cables")
    pressure = frame["filling"] == "oil or gas pressure"
    high = frame["cable_class"].isin(["HV", "EHV", "unknown"]) | frame["cable_class"].isna()
    hits = view.hits("cables", pressure | ((frame["filling"] == "unknown") & high))

    def cause(hit: Hit) -> tuple[str, object]:
        return view.place_of(hit), hit.row["filling"]

    for group in by(hits, cause):
        yield from view.say("duct-18", group, "filling")


CHECKS: Final = (
    Check(check_fit, ("duct-04", "duct-05", "duct-06")),
    Check(check_tape, ("duct-07",)),
    Check(check_trefoil, ("duct-08",)),
    Check(check_contents, ("duct-09", "duct-10")),
    Check(check_filled, ("duct-18",)),
)

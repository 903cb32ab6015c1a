"""Cross-sections of the drawn seals as primitives for the map: outlines and circles in mm."""

from __future__ import annotations

from typing import Any, Final

from pipeline.publish.map_places import number, records, text
from pipeline.tables import Tables

# Beyond so many openings the page stays light: the section then stands in the work pack alone.
MOST_OPENINGS: Final = 6000


def sections(tables: Tables, rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Shape of each drawn seal and the circles that lie in it, by opening.

    Parameters
    ----------
    tables : Tables
    rows : list of dict
        Openings on the map.

    Returns
    -------
    dict
        opening id -> shape, bore (mm), second bore (mm; None where round) and parts
        [kind, class of cable, outer (mm), x (mm), y (mm)]; empty where the map holds too many
        openings to carry them.

    """
    if len(rows) > MOST_OPENINGS:
        return {}
    shown = {r["opening_id"] for r in rows}
    designs = tables["designs"]
    drawn = designs[designs["is_needed"].astype(bool) & designs["is_designed"].astype(bool)]
    out: dict[str, Any] = {
        text(r["end_id"]): {
            "shape": text(r["shape"]),
            "bore_mm": number(r["bore_mm"], 1),
            "bore_b_mm": number(r["bore_b_mm"], 1),
            "layer_mm": number(r["layer_mm"], 1),
            "parts": [],
        }
        for r in records(drawn, "end_id", "shape", "bore_mm", "bore_b_mm", "layer_mm")
        if text(r["end_id"]) in shown and r["bore_mm"] is not None
    }
    for row in records(
        tables["placements"], "end_id", "kind", "cable_class", "outer_mm", "x_mm", "y_mm"
    ):
        if (end := text(row["end_id"])) in out:
            out[end]["parts"].append(
                [
                    text(row["kind"]), text(row["cable_class"]), number(row["outer_mm"], 1),
                    number(row["x_mm"], 1), number(row["y_mm"], 1),
                ]
            )  # fmt: skip
    return {end: drawing for end, drawing in sorted(out.items()) if drawing["parts"]}

"""Checks of positions: outside the region, too coarse, far from the site, two at one spot."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from pipeline.intake.checks.view import Check, Hit, Survey, by, names, number_text
from pipeline.intake.context import Checked

_OUTSIDE_M: Final = 5_000.0  # rule place-03
_COARSEST_M: Final = 10  # rule place-07
_FROM_SITE_M: Final = 500.0  # survey definition: within 500 m of the site unless STREET
_SAME_SPOT_M: Final = 0.5  # rule place-11
_COLUMN_OF: Final = {"lat, lon": "lat_deg", "grid reference": "grid_ref"}
_POSITION: Final = ("x_m", "y_m", "plan_u_m", "position_from")


def check_outside_region(view: Survey) -> Iterator[Checked]:
    """place-03: a site or chamber more than 5 km outside the outline of its region."""
    for table in ("sites", "chambers"):
        far = _outside(view, table)
        for group in by([h for h, _ in far], lambda h: (h.row["file"], h.row["region"])):
            off_m = next(d for h, d in far if h.index == group[0].index)
            fill = {
                "dist": number_text(off_m / 1000.0, 0),
                "region": group[0].row["region"] or "every region of the programme",
            }
            column = _COLUMN_OF.get(str(group[0].row["position_from"]), "easting_m")
            yield from view.say("place-03", group, column, fill=fill, values=_POSITION)


def _outside(view: Survey, table: str) -> list[tuple[Hit, float]]:
    """Rows too far outside their region, with the distance (m); none where no outline is known."""
    regions = view.context.layers.get("regions")
    if regions is None or not len(regions):
        return []
    outlines = {
        str(name): shapely.union_all(part["geometry"].to_numpy())
        for name, part in regions.groupby("region", sort=True)
    }
    anywhere = shapely.union_all(list(outlines.values()))
    frame = view.frame(table)
    out: list[tuple[Hit, float]] = []
    hits = view.hits(table, frame["x_m"].notna() & frame["y_m"].notna())
    for group in by(hits, lambda h: h.row["region"]):
        outline = outlines.get(str(group[0].row["region"]), anywhere)
        points = shapely.points([(h.row["x_m"], h.row["y_m"]) for h in group])
        off_m = shapely.distance(points, outline)
        out += [(h, float(d)) for h, d in zip(group, off_m, strict=True) if d > _OUTSIDE_M]
    return out


def check_coarse_reference(view: Survey) -> Iterator[Checked]:
    """place-07: a chamber placed by a grid reference coarser than 10 m."""
    frame = view.frame("chambers")
    chosen = frame["grid_ref"].notna() & (frame["position_from"].isna() | _by_grid(frame))
    for hit in view.hits("chambers", chosen):
        figures = re.sub(r"\D", "", str(hit.row["grid_ref"]))
        size = 10 ** (5 - len(figures) // 2)
        if len(figures) % 2 == 0 and size > _COARSEST_M:
            raw = view.context.raw("chambers", hit.index, "grid_ref") or hit.row["grid_ref"]
            yield from view.say("place-07", [hit], "grid_ref", fill={"raw": raw, "size": size})


def _by_grid(frame: Any) -> Any:
    return frame["position_from"].fillna("").str.startswith("grid")


def check_far_from_site(view: Survey) -> Iterator[Checked]:
    """place-10: a chamber more than 500 m from its site (chambers of a street excepted)."""
    sites = view.frame("sites").drop_duplicates("site_id").set_index("site_id")
    frame = view.frame("chambers")
    x_m = frame["site_id"].map(sites["x_m"]).astype("float64")
    y_m = frame["site_id"].map(sites["y_m"]).astype("float64")
    apart = np.hypot(frame["x_m"] - x_m, frame["y_m"] - y_m)
    lost = {h.index for h, _ in _outside(view, "chambers")}  # asked as place-03
    far = [h for h in view.hits("chambers", apart > _FROM_SITE_M) if h.index not in lost]
    for group in by(far, lambda h: (h.row["file"], h.row["site_id"])):
        fill = {
            "id": names(h.id for h in group),
            "dist": number_text(float(apart.loc[group[0].index]), 0),
            "site": group[0].row["site_id"],
        }
        yield from view.say("place-10", group, "site_id", fill=fill)


def check_same_spot(view: Survey) -> Iterator[Checked]:
    """place-11: chambers within half a metre of each other."""
    frame = view.frame("chambers")
    hits = view.hits("chambers", frame["x_m"].notna() & frame["y_m"].notna())
    hits = [h for h in hits if "#" not in h.id]  # doubles of one id are asked as such
    if len(hits) < 2:
        return
    xy_m = np.array([(h.row["x_m"], h.row["y_m"]) for h in hits])
    pairs = cKDTree(xy_m).query_pairs(_SAME_SPOT_M, output_type="ndarray")
    if not len(pairs):
        return
    ones = np.ones(len(pairs))
    graph = coo_matrix((ones, (pairs[:, 0], pairs[:, 1])), shape=(len(hits), len(hits)))
    _, label = connected_components(graph, directed=False)
    group_of = {id(h): int(n) for h, n in zip(hits, label, strict=True)}
    for group in by(hits, lambda h: group_of[id(h)]):
        if len(group) > 1:
            fill = {"a": group[0].id, "b": names(h.id for h in group[1:])}
            yield from view.say("place-11", group, "chamber_id", fill=fill)


CHECKS: Final = (
    Check(check_outside_region, ("place-03",), needs_settings=True),
    Check(check_coarse_reference, ("place-07",)),
    Check(check_far_from_site, ("place-10",)),
    Check(check_same_spot, ("place-11",)),
)

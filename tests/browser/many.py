"""Tables of an invented programme of any size, as the map needs them; no text of it is ours.

Names, levels and words vary from row to row as in a real survey, so that nothing packs better
than it would in use.
"""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
from shapely.geometry import box

from pipeline.core.settings import Settings
from pipeline.core.settings_file import load

ROOT = Path(__file__).parents[2]
ENDS_PER_SITE = 20
EVENTS = (0.1, 0.0333, 0.01, 0.005, 0.001)
HOLDS = (
    ("none", ""),
    (
        "order",
        "asbestos at the duct or in the old seal: unknown (released by the owner's register)",
    ),
    ("design", "no seal drawn: counted only, not measured (released by the surveyor)"),
    ("work", "a cable may be under gas pressure (released by the cable's owner)"),
)
HEAD_FROM = ("policy level of the rarest modelled event", "overflow of the connected chambers")
CAUTIONS = (
    "Water may stand behind it: open slowly, stand aside.",
    "Treat every cable as live: do not move, bend or lift it without its owner's leave.",
    "A flood seal is not a fire seal.",
    "Local codes, permits and the owner's rules decide.",
)
CLASSES = ("below", "below", "below", "too close to call", "above", "no level", "no flood level")


def settings() -> Settings:
    """The settings of the example, whose grids lie under the map."""
    return load(ROOT / "configs" / "example.toml")


def many_tables(ends_count: int, hostile: tuple[str, ...] = ()) -> dict[str, pd.DataFrame]:
    """Tables for `ends_count` openings; hostile texts stand in every text of the survey.

    Parameters
    ----------
    ends_count : int
        Openings, twenty at each site.
    hostile : tuple of str
        Texts put, in turn, into names, notes, old numbers and words of the survey.

    Returns
    -------
    dict of DataFrame

    """
    maker = _Maker(hostile)
    sites = -(-ends_count // ENDS_PER_SITE)
    for i in range(sites):
        maker.site(i, sites, min(ENDS_PER_SITE, ends_count - i * ENDS_PER_SITE))
    return maker.tables()


class _Maker:
    def __init__(self, hostile: tuple[str, ...]) -> None:
        self.rows: dict[str, list[dict[str, Any]]] = {}
        self.dice = random.Random(7)
        self.heads = random.Random(8)
        self.hostile = hostile
        self.turn = 0
        self.cover_m: dict[str, float] = {}

    def add(self, table: str, **row: Any) -> None:
        self.rows.setdefault(table, []).append(row)

    def said(self, otherwise: str) -> str:
        """The next hostile text, where there are any."""
        if not self.hostile:
            return otherwise
        self.turn += 1
        return self.hostile[self.turn % len(self.hostile)]

    def site(self, i: int, sites: int, ends: int) -> None:
        dice, wide = self.dice, int(sites**0.5) + 1
        name, region = f"T{i:04d}", ("North", "South")[i % 2]
        x = 492000 + 18000 * (i % wide) / wide + dice.uniform(-90, 90)
        y = 642000 + 9000 * (i // wide) / wide + dice.uniform(-90, 90)
        self.add("sites", site_id=name, site_name=self.said(f"Works {i}"), grid_ref=f"OV {i:05d} {i:05d}",
                 region=region, site_type="substation", critical_class=("ordinary", "vital")[i % 5 == 0],
                 customers_count=dice.randint(100, 9000), x_m=x, y_m=y)  # fmt: skip
        building = f"{name}-B1"
        self.add("buildings", building_id=building, site_id=name, x_m=x, y_m=y)
        self.add("footprints", building_id=building, geometry=box(x - 7, y - 5, x + 7, y + 5))
        chambers = [f"{name}-C{k}" for k in range(1, 5)]
        for k, chamber in enumerate(chambers):
            cover = round(dice.uniform(4, 15), 3)
            self.cover_m[chamber] = cover
            self.add("chambers", chamber_id=chamber, other_numbers=self.said(f"OLD/{i}/{k}"), grid_ref="",
                     site_id=name, x_m=x + dice.uniform(-60, 60), y_m=y + dice.uniform(-60, 60))  # fmt: skip
            self.add("levels", thing_kind="cover", thing_id=chamber, level_m=cover)
            self.add("observations", place_id=chamber, note=self.said(""))
            for step, aep in enumerate(EVENTS):
                self.add("floods", place_kind="chamber", place_id=chamber, aep_per_year=aep,
                         mechanism="river", answer="level", level_m=cover - 0.4 + 0.3 * step,
                         is_nearest=False, climate="epoch 2055", defences="with")  # fmt: skip
        done = [self.opening(name, building, chambers, region, k) for k in range(0, ends, 2)]
        for k in range(1, ends, 2):
            self.chamber_end(name, chambers[k % 4], region, k)
        self.programme(i, name, building, [d for d in done if d])

    def opening(
        self, site: str, building: str, chambers: list[str], region: str, k: int
    ) -> str | None:
        dice, entry = self.dice, f"{building}-E{k // 5 + 1}"
        end, chamber = f"{entry}-{k % 5 + 1:02d}", dice.choice(chambers)
        face = "ABCD"[k // 5]
        if end.endswith(("-01", "-02")):
            self.add("entries", entry_id=entry, building_id=building, face=face, file="north.xlsx",
                     sheet="entries", row=k + 2)  # fmt: skip
        cls, hold = dice.choice(CLASSES), dice.choice(HOLDS)
        own, cover = round(dice.uniform(2, 14), 3), self.cover_m[chamber]
        known = cls not in ("no level", "no flood level")
        margin = {"below": -1, "too close to call": 0, "above": 1}.get(cls, 0) * dice.randint(
            60, 1900
        )
        far = f"{chamber}-{k + 1:02d}"
        self.add(
            "ends",
            end_id=end,
            face=face,
            file="north.xlsx",
            sheet="ducts",
            row=len(self.rows.get("ends", ())) + 2,
        )
        self.add("links", link_id=f"{end} - {far}", place_a_id=chamber, place_b_id=entry,
                 crest_level_m=own, is_proved=k % 3 > 0, proof="rodded")  # fmt: skip
        self.add("observations", place_id=end, note=self.said(""))
        self.add("reach", opening_id=end, opening_kind="duct end", end_id=end, entry_id=entry,
                 building_id=building, chamber_id=None, site_id=site, region=region, level_class=cls,
                 margin_mm=margin if known else None, limit_mm=dice.randint(20, 90) if known else None,
                 margin_is_bound=False,
                 reason=self.said(f"{cls} by {abs(margin)} mm: river over cover {chamber} ({cover:.3f})"),
                 way="through duct" if known else "unknown",
                 way_words=f"river over cover {chamber} ({cover:.3f}) -> duct {end} - {far}, crest "
                 f"{own:.3f} -> duct end {end}", way_places=chamber,
                 opening_level_m=own if cls != "no level" else None,
                 let_in_level_m=max(own, cover) if known else None,
                 policy_level_m=round(max(own, cover) - margin / 1000, 3) if known else None,
                 head_m=dice.uniform(0, 3) if known else None,
                 onset_chance_per_year=dice.uniform(0.001, 0.2) if known else None,
                 onset_bound="" if k % 4 else "rarer than")  # fmt: skip
        needed = cls != "above"
        self.state(end, site, building, region, "sealed" if k == 14 else "priced")
        if k == 14:  # made, and waits for a look
            self.add("sealed_ends", end_id=end, is_made=True, is_accepted=False, is_closed=False)
        self.add("designs", end_id=end, is_needed=needed, is_designed=hold[0] != "design",
                 not_designed_reason="" if hold[0] != "design" else "not measured", hold_reach=hold[0],
                 hold_words=hold[1], layer_mm=20.0, filler_length_mm=80.0, depth_needed_mm=105.0,
                 sealant_ml=float(dice.randint(60, 400)),
                 sleeves_words=f"{dice.randint(1, 4)} x 40 mm, {dice.randint(1, 9)} x 20 mm",
                 design_head_m=self.heads.uniform(0.2, 4.0) if known else None,
                 head_from=HEAD_FROM[k % 2] if known else "not known: its own level is missing",
                 cautions=" | ".join(CAUTIONS[k % 3 :]), shape="round", bore_mm=100.0, bore_b_mm=None)  # fmt: skip
        return end if needed and hold[0] != "design" else None

    def state(self, end: str, site: str, building: str | None, region: str, state: str) -> None:
        """Where an end stands by its records."""
        self.add("states", end_id=end, site_id=site, building_id=building, region=region, state=state,
                 moved_on="2026-02-24", move_reason=self.said(f"{state} by its record"),
                 stuck_reason=self.said("no look on record; due by 2026-03-24"), ahead=None,
                 lifted_holds=None)  # fmt: skip

    def chamber_end(self, site: str, chamber: str, region: str, k: int) -> None:
        """The other mouth of a duct: in a chamber, wet with its cover, nothing to seal."""
        end, cover = f"{chamber}-{k:02d}", self.cover_m[chamber]
        own = round(cover - self.dice.uniform(0.4, 1.2), 3)
        margin = -self.dice.randint(100, 900)
        self.add("ends", end_id=end, face="A", file="north.xlsx", sheet="ducts",
                 row=len(self.rows.get("ends", ())) + 2)  # fmt: skip
        self.add("reach", opening_id=end, opening_kind="chamber end", end_id=end, entry_id=None,
                 building_id=None, chamber_id=chamber, site_id=site, region=region,
                 level_class="below", margin_mm=margin, limit_mm=68, margin_is_bound=False,
                 reason=f"below by {-margin} mm: river over cover {chamber} ({cover:.3f})",
                 way="through duct", way_words=f"river over cover {chamber} ({cover:.3f}) -> chamber "
                 f"end {end}", way_places=chamber, opening_level_m=own, let_in_level_m=cover,
                 policy_level_m=round(cover - margin / 1000, 3), head_m=1.2,
                 onset_chance_per_year=0.05, onset_bound="")  # fmt: skip
        self.state(end, site, None, region, "assessed")
        self.add("designs", end_id=end, is_needed=False, is_designed=False, not_designed_reason="",
                 hold_reach="none", hold_words="", layer_mm=None, filler_length_mm=None,
                 depth_needed_mm=None, sealant_ml=None, sleeves_words="",
                 design_head_m=None, head_from=None, cautions="", shape="round", bore_mm=100.0, bore_b_mm=None)  # fmt: skip

    def programme(self, i: int, site: str, building: str, ends: list[str]) -> None:
        dice, package = self.dice, f"{building}/1"
        is_chosen = i % 2 == 0
        self.add("packages", package_id=package, building_id=building, end_ids=";".join(ends),
                 ends_count=len(ends), before_chance_per_year=dice.uniform(0.02, 0.2), before_bound="",
                 after_chance_per_year=dice.uniform(0.001, 0.02), after_bound="")  # fmt: skip
        self.add("choices", building_id=building, site_id=site, is_chosen=is_chosen,
                 rank=i // 2 + 1 if is_chosen else None, package_id=package if is_chosen else None,
                 year=2026 if is_chosen else None,
                 reason=f"loss avoided {dice.randint(2, 190)} times its cost; {len(ends)} ends",
                 left_out_reason="" if is_chosen else f"over budget by {dice.randint(10, 9000)} GBP")  # fmt: skip
        if is_chosen:
            self.add("crew_days", work_date=f"2026-{5 + i % 4:02d}-11", end_ids=";".join(ends))
        self.add("closing_lines", kind="building", place_id=building, end_ids=";".join(ends[:6]),
                 ends_count=len(ends[:6]), cost_minor=dice.randint(9000, 400000), gap_frac=0.0,
                 conditions="", cannot_close="", all_wall_count=len(ends),
                 all_wall_cost_minor=dice.randint(400000, 900000))  # fmt: skip

    def tables(self) -> dict[str, pd.DataFrame]:
        for name in ("crew_days", "entries"):
            self.rows.setdefault(name, [])
        sealed = ("end_id", "is_made", "is_accepted", "is_closed")
        out = {name: pd.DataFrame(rows) for name, rows in self.rows.items()}
        out.setdefault("sealed_ends", pd.DataFrame(columns=list(sealed)))
        out["placements"] = pd.DataFrame(
            columns=["end_id", "piece_no", "kind", "cable_class", "outer_mm", "x_mm", "y_mm"]
        )
        out["regions"] = gpd.GeoDataFrame(
            {"region": ["North", "South"]},
            geometry=[box(490000, 646500, 511000, 653000), box(490000, 640000, 511000, 646500)],
        )
        out["flood_polygons"] = pd.DataFrame(
            columns=["source_id", "aep_per_year", "level_m", "geometry"]
        )
        return out

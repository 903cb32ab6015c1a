"""From the plan to survey rows: what a careful surveyor would have written down, before habits.

Rows are dictionaries by survey heading; `Book` holds one list of rows per sheet.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field
from random import Random
from typing import Any, Final

from sample_surveys import example_contents, example_land
from sample_surveys.example_plan import MODES, Building, Site
from sample_surveys.example_slope import Slope

Row = dict[str, Any]
SHEETS: Final = (
    "visits",
    "sites",
    "buildings",
    "chambers",
    "entries",
    "ducts",
    "cables",
    "seals_now",
    "level_points",
    "flood_levels",
    "observations",
    "photos",
)
ROW_DROP_M: Final = 0.16  # from one row of a bank to the next
FACES: Final = "ABCD"


@dataclass
class Book:
    """Rows per sheet, in walking order, and the outlines of the buildings."""

    sheets: dict[str, list[Row]] = field(default_factory=lambda: {s: [] for s in SHEETS})
    outlines: dict[str, list[tuple[float, float]]] = field(default_factory=dict)

    def add(self, sheet: str, **row: Any) -> Row:
        """Append a row and return it."""
        self.sheets[sheet].append(row)
        return row


@dataclass
class Bank:
    """Ducts of one group at one place: ids and inverts (m) in row-and-column order."""

    ids: list[str]
    inverts_m: list[float]
    bores_mm: list[int]
    facts: list[Row]
    cables: list[list[Row]]


class SiteWriter:
    """Writes the rows of one site."""

    def __init__(self, book: Book, site: Site, region: str, visit_date: dt.date) -> None:
        self.book = book
        self.site = site
        self.region = region
        self.slope = Slope(site)
        self.rng = Random(f"stanch example {site.site_id}")
        self.w_m = self.slope.design_level()
        self.visit_id = f"V-{site.site_id}"
        self.chambers_count = 0
        self._site(visit_date)
        for number, building in enumerate(site.buildings, start=1):
            self._building(number, building)

    # --- site and building -------------------------------------------------------------------

    def _site(self, visit_date: dt.date) -> None:
        s = self.site
        x, y = self.slope.at(0.0, self.w_m + MODES[s.buildings[0].mode][0])
        self.book.add(
            "visits",
            visit_id=self.visit_id,
            site_id=s.site_id,
            visit_date=visit_date,
            surveyor="team 1",
            instrument="level",
            datum=example_land.DATUM,
            days_since_rain=self.rng.randint(1, 9),
            permit_ref=f"CS-{s.site_id}-1",
            scope="full",
            checked_by_engineer="yes",
        )
        row: Row = {
            "site_id": s.site_id,
            "site_name": s.name,
            "region": self.region,
            "site_type": s.site_type,
            "easting": x,
            "northing": y,
            "position_method": "map",
            "critical_class": s.critical,
            "customers": s.customers,
            "backfeed": self.rng.choice(["none", "part", "none"]),
            "repair_days": self.rng.choice([3, 5, 8]),
            "flood_history": "none known",
            "permit_kind": "street",
            "permit_lead_days": self.rng.choice([14, 28, 60]),
            "outage_needed": "no",
            "survey_state": "complete",
        }
        self.book.add("sites", **(row | s.facts))
        self.mark_id = f"P-{s.site_id}"
        self.book.add(
            "level_points",
            point_id=self.mark_id,
            site_id=s.site_id,
            kind="site mark",
            level_m=round(self.w_m + 1.37, 3),
            datum=example_land.DATUM,
            method="GNSS network",
            u_m=0.012,
            visit_id=self.visit_id,
        )

    def _point(self, point_id: str, kind: str, level_m: float) -> None:
        self.book.add(
            "level_points",
            point_id=point_id,
            site_id=self.site.site_id,
            kind=kind,
            level_m=round(level_m, 3),
            datum=example_land.DATUM,
            method="levelled",
            from_point_id=self.mark_id,
            closure_mm=self.rng.randint(-3, 3),
            run_km=round(self.rng.uniform(0.1, 0.4), 2),
            u_m=0.005,
            visit_id=self.visit_id,
        )

    def _building(self, number: int, told: Building) -> None:
        building_id = f"{self.site.site_id}-B{number}"
        ground, floor, invert = MODES[told.mode]
        offset = -100.0 * (number - 1)
        x, y = self.slope.at(offset, self.w_m + ground)
        floor_m = round(self.w_m + floor, 2)
        self._point(f"P-{building_id}", "floor", floor_m)
        below = round(floor_m - (self.w_m + invert) + 0.90, 2)
        row: Row = {
            "building_id": building_id,
            "site_id": self.site.site_id,
            "lowest_space": "basement",
            "floor_point_id": f"P-{building_id}",
            "lowest_floor_below_m": below,
            "door_sill_above_floor_m": told.sill_m,
            "lowest_vent_above_floor_m": told.vent_m,
            "other_openings": "none seen",
            "equipment_above_floor_m": round(0.8 - below, 2),
            "sump_pump": "none",
            "wall_build": self.rng.choice(["brick", "brick", "block", "concrete"]),
            "wall_thick_mm": self.rng.choice([215, 330, 440]),
            "floor_build": "reinforced raft",
            "built_year": self.rng.randint(2003, 2016),
            "fire_wall": "no",
            "visit_id": self.visit_id,
            "easting": x,
            "northing": y,
            "floor_area_m2": self.rng.choice([60, 90, 140, 220]),
            "max_head_m": told.max_head_m,
            "max_head_by": "structural engineer" if told.max_head_m else None,
            "tanked": "unknown",
            "drain_to": "none",
            "asbestos_suspect": "no",
        }
        self.book.add("buildings", **(row | told.facts))
        self.book.outlines[building_id] = _outline(x, y)
        for place, group in enumerate(told.groups.split(), start=1):
            self._group(building_id, offset, place, group, (floor_m, invert))

    # --- openings ----------------------------------------------------------------------------

    def _group(
        self, building_id: str, offset: float, place: int, group: str, heights: tuple[float, float]
    ) -> None:
        floor_m, invert = heights
        kind, *numbers = group.split(":")
        entry_id = f"{building_id}-E{place}"
        face = FACES[(place - 1) % 4]
        base_m = round(self.w_m + invert, 2)
        side = offset + (25.0 + 13.0 * place) * (1 if place % 2 else -1)
        if kind == "bare":
            self._entry(
                entry_id, building_id, face, floor_m, round(self.w_m + float(numbers[0]), 2)
            )
            self.book.sheets["entries"][-1].update(
                kind="cut-out trench", width_mm=420, height_mm=160, leads_to="buried"
            )
            return
        count = int(numbers[-1])
        wall = self._bank(entry_id, count, base_m)
        lowest = min(wall.inverts_m)
        entry = self._entry(entry_id, building_id, face, floor_m, lowest)
        if kind == "nolev":
            entry.update(level_method="judged", ref_point_id=None, above_m=None)
        if kind in ("unk", "nolev"):
            entry["leads_to"] = "unknown"
            self._wall_ends(wall, entry_id, face, floor_m, None, "unknown", has_level=kind == "unk")
            return
        cover = self.w_m + (1.6 if kind == "two" else float(numbers[0]))
        near = self._chamber(round(cover, 3), side)
        entry["leads_to"] = near
        proof = "drawing" if kind == "unp" else self.rng.choice(["rodded", "rodded", "traced"])
        far = self._far_bank(near, wall, round(cover, 3))
        self._wall_ends(wall, entry_id, face, floor_m, (near, far), proof, has_level=True)
        self._chamber_ends(far, near, "A", round(cover, 3), (entry_id, wall), proof)
        if kind == "two":
            second = round(self.w_m + float(numbers[0]), 3)
            self._join(near, round(cover, 3), second, side, 2)
        if kind == "ext":
            self._join(near, round(cover, 3), round(cover + 0.45, 3), side, 1)

    def _join(self, near: str, cover_m: float, second_m: float, side: float, count: int) -> None:
        """Some ducts from a chamber to a second one."""
        other = self._chamber(second_m, side * 1.15)
        base_m = round(min(second_m, cover_m, self.w_m) - 0.75, 2)
        one = self._bank(near, count, base_m)
        two = Bank(
            [f"{other}-{i + 1:02d}" for i in range(count)],
            [round(v - 0.10, 3) for v in one.inverts_m],
            one.bores_mm,
            one.facts,
            one.cables,
        )
        one.ids[:] = [f"{near}-{i + 51:02d}" for i in range(count)]
        self._chamber_ends(one, near, "C", cover_m, (other, two), "rodded")
        self._chamber_ends(two, other, "A", second_m, (near, one), "rodded")

    def _entry(
        self, entry_id: str, building_id: str, face: str, floor_m: float, edge_m: float
    ) -> Row:
        return self.book.add(
            "entries",
            entry_id=entry_id,
            building_id=building_id,
            face=face,
            kind="duct bank",
            seen_from="inside",
            leads_to="unknown",
            level_method="offset from floor",
            ref_point_id=f"P-{building_id}",
            above_m=round(edge_m - floor_m, 3),
            measured_to="lowest edge",
            gap_around_duct="none",
            water_sign="none",
            front_space_mm=self.rng.choice([900, 1200, 1500]),
            fire_wall="no",
            outdoors="no",
            visit_id=self.visit_id,
            asbestos_suspect="no",
        )

    def _chamber(self, cover_m: float, side: float) -> str:
        self.chambers_count += 1
        chamber_id = f"{self.site.site_id}-C{self.chambers_count}"
        x, y = self.slope.at(round(side, 1), cover_m)
        self._point(f"P-{chamber_id}", "cover", cover_m)
        self.book.add(
            "chambers",
            chamber_id=chamber_id,
            other_numbers=None,
            site_id=self.site.site_id,
            owner="own",
            kind=self.rng.choice(["manhole", "joint box", "draw pit"]),
            easting=x,
            northing=y,
            position_method="GNSS",
            position_u_m=0.5,
            cover_point_id=f"P-{chamber_id}",
            cover_kind=self.rng.choice(["keyhole", "hinged"]),
            depth_m=1.0,
            depth_from="cover top",
            water_state="dry",
            pumped_out="no",
            silt_mm=0,
            drain="none",
            ways_seen=0,
            walls_seen="all",
            asbestos_suspect="no",
            gas_note="no alarm",
            entered="no",
            visit_id=self.visit_id,
            confined_space="yes",
            drain_to="none",
        )
        return chamber_id

    # --- ducts -------------------------------------------------------------------------------

    def _bank(self, place_id: str, count: int, base_m: float) -> Bank:
        bank = Bank([], [], [], [], [])
        for i in range(count):
            bore = example_contents.bore(self.rng)
            facts, cables = example_contents.contents(self.rng, bore, self.site.site_type)
            bank.ids.append(f"{place_id}-{i + 1:02d}")
            bank.inverts_m.append(round(base_m - ROW_DROP_M * (i // 2), 3))
            bank.bores_mm.append(bore)
            bank.facts.append(facts)
            bank.cables.append(cables)
        return bank

    def _far_bank(self, chamber_id: str, wall: Bank, cover_m: float) -> Bank:
        top = min(cover_m - 0.70, max(wall.inverts_m) - 0.20)
        inverts = [round(top - ROW_DROP_M * (i // 2), 3) for i in range(len(wall.ids))]
        ids = [f"{chamber_id}-{i + 1:02d}" for i in range(len(wall.ids))]
        return Bank(ids, inverts, wall.bores_mm, wall.facts, wall.cables)

    def _wall_ends(  # noqa: PLR0913 - private; each names one fact of the wall
        self,
        bank: Bank,
        entry_id: str,
        face: str,
        floor_m: float,
        far: tuple[str, Bank] | None,
        proof: str,
        *,
        has_level: bool,
    ) -> None:
        for i in range(len(bank.ids)):
            row = self._end(bank, i, "entry", entry_id, face)
            row.update(
                level_method="offset from floor" if has_level else "judged",
                ref_point_id=f"P-{entry_id.rsplit('-', 1)[0]}" if has_level else None,
                above_m=round(bank.inverts_m[i] - floor_m, 3) if has_level else None,
                far_place_id=far[0] if far else "unknown",
                far_end_id=far[1].ids[i] if far else None,
                far_proof=proof,
                length_m=self._length(entry_id, far[0]) if far else None,
                lie="sloping out",
                seal_from="building",
            )

    def _chamber_ends(
        self,
        bank: Bank,
        chamber_id: str,
        face: str,
        cover_m: float,
        far: tuple[str, Bank],
        proof: str,
    ) -> None:
        for i in range(len(bank.ids)):
            row = self._end(bank, i, "chamber", chamber_id, face)
            row.update(
                level_method="dip",
                ref_point_id=f"P-{chamber_id}",
                dip_down_m=round(cover_m - bank.inverts_m[i], 3),
                dip_from="cover top",
                far_place_id=far[0],
                far_end_id=far[1].ids[i],
                far_proof=proof,
                length_m=self._length(far[0], chamber_id),
                lie="level",
                seal_from="neither",
            )
        chamber = next(c for c in self.book.sheets["chambers"] if c["chamber_id"] == chamber_id)
        chamber["ways_seen"] += len(bank.ids)
        deepest = cover_m - min(bank.inverts_m)
        chamber["depth_m"] = max(chamber["depth_m"], math.ceil(deepest * 10.0 + 3.0) / 10.0)

    def _end(self, bank: Bank, i: int, place_kind: str, place_id: str, face: str) -> Row:
        end_id, bore = bank.ids[i], bank.bores_mm[i]
        photo_id = f"PH-{place_id}-{face}"
        photos = self.book.sheets["photos"]
        if not any(p["photo_id"] == photo_id for p in photos):
            self.book.add(
                "photos",
                photo_id=photo_id,
                file_name=f"{photo_id}.jpg",
                place_id=place_id,
                shows="chamber wall" if place_kind == "chamber" else "inside wall",
                scale_in_view="yes",
            )
        row = self.book.add(
            "ducts",
            end_id=end_id,
            place_kind=place_kind,
            place_id=place_id,
            face=face,
            row_no=i // 2 + 1,
            col_no=i % 2 + 1,
            shape="round",
            bore_mm=bore,
            bore_method="rule",
            material="smooth plastic",
            measured_to="invert",
            water_now="dry",
            mouth="flush",
            clear_depth_mm="300 or more",
            seen="full",
            photo_id=photo_id,
            visit_id=self.visit_id,
            flap="none",
        )
        row.update(bank.facts[i])
        for n, cable in enumerate(bank.cables[i], start=1):
            self.book.add(
                "cables",
                cable_id=f"{end_id}-K{n}",
                end_id=end_id,
                size_method="gauge card",
                condition="sound",
                dead="no",
                **cable,
            )
        return row

    def _length(self, one: str, other: str) -> float:
        return round(max(5.0, math.dist(self._where(one), self._where(other)) * 1.05), 0)

    def _where(self, place_id: str) -> tuple[float, float]:
        for sheet, key in (("chambers", "chamber_id"), ("buildings", "building_id")):
            for row in self.book.sheets[sheet]:
                if place_id == row[key] or place_id.startswith(f"{row[key]}-E"):
                    return row["easting"], row["northing"]
        raise KeyError(place_id)


def _outline(x: float, y: float) -> list[tuple[float, float]]:
    return [(x - 10.0, y - 6.0), (x + 10.0, y - 6.0), (x + 10.0, y + 6.0), (x - 10.0, y + 6.0)]


def write_sites(sites: tuple[Site, ...], region: str, first_visit: dt.date) -> Book:
    """The rows of some sites of one region, visited one after the other from a date on."""
    book = Book()
    for i, site in enumerate(sites):
        SiteWriter(book, site, region, first_visit + dt.timedelta(days=6 * i))
    return book

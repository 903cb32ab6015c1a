"""What the work packs need to know of each chosen site, gathered once from the tables."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Final

import pandas as pd

from pipeline.core.made_ends import is_made, open_snag
from pipeline.core.materials import Materials
from pipeline.core.settings import Settings
from pipeline.tables import Tables

Row = dict[str, Any]
_FACES: Final = ("A", "B", "C", "D", "floor", "roof")
_LAST: Final = 10_000
_NEAR_M: Final = 1_000.0  # chambers farther than this from the buildings are not sketched


@dataclass(frozen=True)
class Paper:
    """What stands at the foot of every page."""

    run_id: str
    planning_date: str
    datum: str
    note: str  # example materials; '' for real ones


@dataclass(frozen=True)
class Hole:
    """One end of a wall: its row of `ends`, its cables, its design (if any)."""

    end_id: str
    end: Row
    cables: tuple[Row, ...]
    design: Row
    is_in_pack: bool
    sealed: Row = field(default_factory=dict)  # what its records come to; {} = none

    @property
    def is_made(self) -> bool:
        """True where a seal stands by record."""
        return is_made(self.sealed)

    @property
    def snag(self) -> str:
        """What is to be made good at a seal that stands; '' for none."""
        return open_snag(self.sealed)


@dataclass(frozen=True)
class Wall:
    """All ends of one place and face."""

    place_id: str
    face: str
    place: Row
    holes: tuple[Hole, ...]


@dataclass(frozen=True)
class Place:
    """A building or chamber on the sketch of the site."""

    kind: str
    place_id: str
    x_m: float
    y_m: float
    is_in_pack: bool


@dataclass(frozen=True)
class Picture:
    """A photo made small for paper: its bytes (JPEG without any metadata), size, day it tells."""

    jpeg: bytes
    width_px: int
    height_px: int
    day: str  # '' where the file does not tell it


@dataclass(frozen=True)
class Photo:
    """A photo that the survey ties to an end or its wall, shown or with the reason why not."""

    name: str
    link: str  # how the survey ties it to the end
    doubts: tuple[str, ...]  # what is in question about it
    shows: str
    picture: Picture | None
    why_not: str  # '' where it is shown


@dataclass(frozen=True)
class Job:
    """One end of the pack with everything that its page shows."""

    end_id: str
    hole: Hole
    wall: Wall
    building_id: str
    placements: tuple[Row, ...]
    pieces: tuple[Row, ...]
    reach: Row
    level: Row
    photo: str
    seals: tuple[Row, ...]
    photos: tuple[Photo, ...] = ()


@dataclass(frozen=True)
class Pack:
    """One site's pack."""

    site_id: str
    site: Row
    buildings: tuple[Row, ...]
    jobs: tuple[Job, ...]  # in the order of the crew days, then walking order
    walls: tuple[Wall, ...]
    days: tuple[Row, ...]
    waiting: tuple[Row, ...]  # designs of the same buildings that are not in this pack
    free_ids: dict[str, tuple[str, ...]]
    materials: Materials
    settings: Settings
    paper: Paper
    places: tuple[Place, ...] = ()
    made: tuple[Row, ...] = ()  # records of ends sealed already, without an open snag


def said(row: Row, name: str) -> str:
    """A text value; '' where blank."""
    value = row.get(name)
    return "" if value is None or value is pd.NA or pd.isna(value) else str(value)


def number(row: Row, name: str) -> float:
    """A number; NaN where blank."""
    value = row.get(name)
    return float("nan") if value is None or value is pd.NA or pd.isna(value) else float(value)


def contents_words(hole: Hole, *, is_short: bool = False) -> str:
    """What is in a hole: its cables by class and size, else the word of the survey.

    Parameters
    ----------
    hole : Hole
    is_short : bool, optional
        Classes and counts only.

    Returns
    -------
    str
    """
    if hole.cables:
        counts: Counter[tuple[str, str]] = Counter()
        for cable in hole.cables:
            name = said(cable, "cable_class") or "unknown"
            size = number(cable, "diameter_mm")
            label = "" if is_short or size != size else f" {size:g} mm"  # noqa: PLR0124 - NaN
            count = number(cable, "cable_count")
            counts[name, label] += int(count) if count == count else 1  # noqa: PLR0124 - NaN
        return ", ".join(f"{n} {name}{label}" for (name, label), n in sorted(counts.items()))
    return said(hole.end, "contents") or "not seen"


def packs_of(
    tables: Tables, settings: Settings, materials: Materials, *, paper: Paper
) -> list[Pack]:
    """The packs of all sites with a chosen package, in order of site.

    Parameters
    ----------
    tables : Tables
        Tables of a whole run.
    settings : Settings
    materials : Materials
    paper : Paper

    Returns
    -------
    list of Pack

    Notes
    -----
    A pack holds the ends of the chosen packages. Ends of the same buildings that need a seal but
    are not chosen, or wait for a release before design or order, are listed on the cover. Ends that
    are sealed by record are no work and are named there too; one with an open snag stands in the
    pack to be made good. A site where nothing is left to do gets no pack.
    """
    look = _Look(tables)
    chosen: dict[str, list[Row]] = defaultdict(list)
    for row in tables["choices"].to_dict("records"):
        if bool(row["is_chosen"]):
            chosen[str(row["site_id"])].append(row)
    packs = (look.pack(s, chosen[s], settings, materials, paper) for s in sorted(chosen))
    return [p for p in packs if p.jobs]


def _records(tables: Tables, name: str) -> list[Row]:
    frame = tables.get(name)
    return [] if frame is None or frame.empty else list(frame.to_dict("records"))


def _by(rows: Iterable[Row], name: str) -> dict[str, Row]:
    return {said(r, name): r for r in rows if said(r, name)}


def _groups(rows: Iterable[Row], name: str) -> dict[str, list[Row]]:
    out: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        if said(row, name):
            out[said(row, name)].append(row)
    return out


class _Look:
    """Look-up of rows by id."""

    def __init__(self, tables: Tables) -> None:
        self.sites = _by(_records(tables, "sites"), "site_id")
        self.buildings = _by(_records(tables, "buildings"), "building_id")
        self.entries = _by(_records(tables, "entries"), "entry_id")
        self.chambers = _by(_records(tables, "chambers"), "chamber_id")
        self.ends = _by(_records(tables, "ends"), "end_id")
        self.designs = _by(_records(tables, "designs"), "end_id")
        self.packages = _by(_records(tables, "packages"), "package_id")
        self.reach = _by(_records(tables, "reach"), "opening_id")
        self.photos = _by(_records(tables, "photos"), "photo_id")
        self.levels = {
            said(r, "thing_id"): r
            for r in _records(tables, "levels")
            if said(r, "thing_kind") in ("duct end", "entry")
        }
        self.cables = _groups(_records(tables, "cables"), "end_id")
        self.placements = _groups(_records(tables, "placements"), "end_id")
        self.pieces = _groups(_records(tables, "pieces"), "end_id")
        self.seals = _groups(_records(tables, "seals"), "end_id")
        self.sealed = _by(_records(tables, "sealed_ends"), "end_id")
        self.days = _groups(_records(tables, "crew_days"), "site_id")
        self.at_wall: dict[tuple[str, str], list[str]] = defaultdict(list)
        self.at_place: dict[str, list[str]] = defaultdict(list)
        for end_id in sorted(self.ends):
            end = self.ends[end_id]
            place = said(end, "place_id")
            self.at_wall[place, self.face(end)].append(end_id)
            self.at_place[place].append(end_id)
        self.taken = {i.casefold() for i in (*self.ends, *self.entries, *self.designs)}

    def face(self, end: Row) -> str:
        """Face of an end, else of its entry."""
        return said(end, "face") or said(self.entries.get(said(end, "place_id"), {}), "face")

    def end(self, end_id: str) -> Row:
        """Row of an end; an entry without ends in the same form."""
        if end_id in self.ends:
            return self.ends[end_id]
        entry = self.entries.get(end_id, {})
        return {"end_id": end_id, "place_id": end_id, "face": entry.get("face"), "shape": ""}

    def pack(
        self, site_id: str, choices: list[Row], settings: Settings, materials: Materials,
        paper: Paper,
    ) -> Pack:  # fmt: skip
        """One site's pack."""
        buildings = sorted(str(c["building_id"]) for c in choices)
        wanted = [
            e for c in choices
            for e in said(self.packages[str(c["package_id"])], "end_ids").split(";") if e
        ]  # fmt: skip
        days = sorted(self.days.get(site_id, ()), key=lambda r: (said(r, "work_date"), r["day_no"]))
        planned = [e for d in days for e in said(d, "end_ids").split(";") if e]
        at = {e: i for i, e in enumerate(planned)}
        made = self._made(buildings)
        snags = {e for e in made if open_snag(self.sealed[e])}
        ordered = sorted(
            {*wanted, *snags} - (made - snags), key=lambda e: (at.get(e, _LAST), self._walk(e))
        )
        in_pack = frozenset(ordered)
        keys = list(dict.fromkeys(self._wall_key(e) for e in ordered))
        walls = {key: self._wall(key, in_pack) for key in keys}
        jobs = tuple(self._job(e, walls[self._wall_key(e)], in_pack) for e in ordered)
        waiting = [
            d for e, d in sorted(self.designs.items())
            if said(d, "building_id") in buildings and bool(d["is_needed"])
            and e not in in_pack and e not in made
        ]  # fmt: skip
        places = list(dict.fromkeys(key[0] for key in keys))
        return Pack(
            site_id,
            self.sites.get(site_id, {}),
            tuple(self.buildings.get(b, {"building_id": b}) for b in buildings),
            jobs,
            tuple(walls.values()),
            tuple(days),
            tuple(waiting),
            {p: self._free(p) for p in places},
            materials,
            settings,
            paper,
            self._places(site_id, frozenset(buildings)),
            tuple(self.sealed[e] for e in sorted(made - snags)),
        )

    def _made(self, buildings: list[str]) -> set[str]:
        """Ends of some buildings where a seal stands by record."""
        return {
            e for e, row in self.sealed.items()
            if is_made(row) and self._building(e) in buildings
        }  # fmt: skip

    def _building(self, end_id: str) -> str:
        own = said(self.designs.get(end_id, {}), "building_id")
        return own or said(self.entries.get(said(self.end(end_id), "place_id"), {}), "building_id")

    def _places(self, site_id: str, in_pack: frozenset[str]) -> tuple[Place, ...]:
        """Buildings and chambers of a site whose position is known, far chambers left out."""
        out = []
        for kind, rows in (("building", self.buildings), ("chamber", self.chambers)):
            for place_id, row in sorted(rows.items()):
                x, y = number(row, "x_m"), number(row, "y_m")
                if said(row, "site_id") == site_id and x == x and y == y:  # noqa: PLR0124 - NaN
                    out.append(Place(kind, place_id, x, y, place_id in in_pack))
        mine = [p for p in out if p.is_in_pack] or out
        return tuple(
            p for p in out
            if min(max(abs(p.x_m - m.x_m), abs(p.y_m - m.y_m)) for m in mine) <= _NEAR_M
        )  # fmt: skip

    def _wall_key(self, end_id: str) -> tuple[str, str]:
        end = self.end(end_id)
        return said(end, "place_id"), self.face(end)

    def _wall(self, key: tuple[str, str], in_pack: frozenset[str]) -> Wall:
        place_id, face = key
        ids = self.at_wall.get(key) or [place_id]
        place = self.entries.get(place_id) or self.chambers.get(place_id) or {}
        return Wall(place_id, face, place, tuple(self._hole(e, in_pack) for e in ids))

    def _hole(self, end_id: str, in_pack: frozenset[str]) -> Hole:
        cables = sorted(self.cables.get(end_id, ()), key=lambda r: said(r, "cable_id"))
        design = self.designs.get(end_id, {})
        return Hole(
            end_id, self.end(end_id), tuple(cables), design, end_id in in_pack,
            self.sealed.get(end_id, {}),
        )  # fmt: skip

    def _job(self, end_id: str, wall: Wall, in_pack: frozenset[str]) -> Job:
        hole = self._hole(end_id, in_pack)
        photo = self.photos.get(said(hole.end, "photo_id"), {})
        return Job(
            end_id,
            hole,
            wall,
            said(hole.design, "building_id"),
            tuple(self.placements.get(end_id, ())),
            tuple(sorted(self.pieces.get(end_id, ()), key=lambda r: said(r, "item_id"))),
            self.reach.get(end_id, {}),
            self.levels.get(end_id, {}),
            said(photo, "file_name") or said(hole.end, "photo_id"),
            tuple(self.seals.get(end_id, ())),
        )

    def _walk(self, end_id: str) -> tuple[Any, ...]:
        end = self.end(end_id)
        face = self.face(end)
        row, col = number(end, "row_no"), number(end, "col_no")
        return (
            said(self.designs.get(end_id, {}), "building_id"),
            said(end, "place_id"),
            _FACES.index(face) if face in _FACES else len(_FACES),
            row if row >= 0 else _LAST,
            col if col >= 0 else _LAST,
            end_id,
        )

    def _free(self, place_id: str, count: int = 2) -> tuple[str, ...]:
        """The next ids of a place that nothing bears: as its ends count, else '-01', '-02' …."""
        stem, width, last = f"{place_id}-", 2, 0
        found: Counter[str] = Counter()
        numbers: dict[str, tuple[int, int]] = {}
        for end_id in self.at_place.get(place_id, ()):
            match = re.fullmatch(r"(.*?)([0-9]{1,6})", end_id)
            if match:
                found[match.group(1)] += 1
                _, most = numbers.get(match.group(1), (0, 0))
                numbers[match.group(1)] = (
                    len(match.group(2)), max(most, int(match.group(2)))
                )  # fmt: skip
        if found:
            stem = min(found, key=lambda s: (-found[s], s))
            width, last = numbers[stem]
        out: list[str] = []
        while len(out) < count:
            last += 1
            name = f"{stem}{last:0{width}d}"
            if name.casefold() not in self.taken:
                out.append(name)
        return tuple(out)

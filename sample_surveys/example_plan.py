"""The invented sites and buildings of the example, and of the small clean sample.

All names are invented. A building is told in a few words: `mode` says how it stands to the water
(see `MODES`), `groups` which openings it has, one word each:

    low:-0.55:4    4 ducts to a chamber whose cover lies 0.55 m under the design level
    ext:-0.55:4    as low, and one duct goes on to a further chamber up the street
    two:-0.30:3    3 ducts to a dry chamber, which is joined to one that lies 0.30 m under it
    high:+1.40:3   3 ducts to a chamber whose cover lies well above the water
    unp:-0.20:3    as low, but the link was only read off a drawing
    unk:3          3 ducts that nobody could follow
    bare:-0.30     an opening without ducts, its lowest edge 0.30 m under the design level
    nolev:3        3 ducts whose height could not be measured
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

# mode: ground at the building, floor mark, and top row of inverts, all from the design level (m)
MODES: Final = {
    "dry": (1.00, 1.20, -0.35),
    "near": (0.80, 0.95, -0.50),
    "wet": (-0.30, 0.10, -0.60),
    "far": (2.20, 2.40, -0.40),
    "high": (3.00, 3.20, 2.10),
}


@dataclass(frozen=True)
class Building:
    """One building: how it stands to the water, its openings, and what differs from the usual."""

    mode: str
    groups: str
    vent_m: float | None = None
    sill_m: float = 0.15
    max_head_m: float | None = None
    facts: dict[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class Site:
    """One site. `place` is an easting on the river's side `side`, or an angle on an island."""

    site_id: str
    name: str
    site_type: str
    critical: str
    customers: int
    place: float
    side: int
    island: str
    buildings: tuple[Building, ...]
    facts: dict[str, object] = field(default_factory=dict)


B = Building


def _river(
    site_id: str, name: str, what: str, customers: int, place: float, *buildings: Building
) -> Site:
    """A site by the river; the first letter of `what` after '/' is the critical class."""
    site_type, critical, side = what.split("/")
    return Site(site_id, name, site_type, critical, customers, place, int(side), "", buildings)


def _isle(
    site_id: str, name: str, what: str, customers: int, angle_deg: float, *buildings: Building
) -> Site:
    site_type, critical, island = what.split("/")
    return Site(site_id, name, site_type, critical, customers, angle_deg, 0, island, buildings)


NORTH: Final = (
    _river(
        "N01",
        "Alder Lane",
        "substation/ordinary/1",
        8200,
        495_900.0,
        B("dry", "ext:-0.55:4 low:+0.06:4 two:-0.25:3", vent_m=0.30, max_head_m=3.5),
        B("dry", "low:-0.40:4 high:+1.40:3", max_head_m=3.0),
    ),
    _river(
        "N02",
        "Birch Wharf",
        "substation/important/1",
        15600,
        496_700.0,
        B("dry", "ext:-0.70:4 two:-0.20:4 low:+0.10:3", vent_m=0.25, max_head_m=3.5),
        B("far", "high:+1.60:4 high:+1.80:3"),
    ),
    _river(
        "N03",
        "Cedar Row",
        "pumping station/important/1",
        6100,
        497_400.0,
        B("dry", "ext:-0.60:4 low:-0.10:3 two:-0.30:3", max_head_m=3.0),
    ),
    _river(
        "N04",
        "Dogwood Cross",
        "exchange/ordinary/1",
        4300,
        498_500.0,
        B("dry", "ext:-0.50:4 low:+0.02:4 high:+1.50:2", vent_m=0.35, max_head_m=3.2),
        B("near", "high:+0.95:3 high:+1.10:3"),
    ),
    _river(
        "N05",
        "Elder Quay",
        "substation/vital/1",
        22400,
        499_300.0,
        B("dry", "ext:-0.95:4 two:-0.40:4 low:-0.15:4", vent_m=0.40, max_head_m=3.5),
        B("dry", "low:-0.80:3 low:+0.05:3", max_head_m=3.5),
    ),
    _river(
        "N06",
        "Furze Hill",
        "substation/ordinary/1",
        3900,
        500_100.0,
        B("far", "high:+1.50:4 high:+1.70:3 high:+1.90:2"),
        B("high", "high:+2.90:3 high:+3.10:2"),
    ),
    _river(
        "N07",
        "Gorse Yard",
        "substation/important/1",
        9700,
        501_200.0,
        B("wet", "low:-0.60:4 low:-0.35:3 bare:-0.40", sill_m=0.05),
        B("dry", "low:-0.50:4 low:+0.295:3 high:+1.30:2", max_head_m=3.0),
    ),
    _river(
        "N08",
        "Hazel Bank",
        "exchange/ordinary/1",
        2700,
        502_100.0,
        B("dry", "ext:-0.45:4 unk:3 unp:-0.20:3"),
    ),
    _river(
        "N09",
        "Ivy Street",
        "pumping station/ordinary/1",
        5200,
        502_800.0,
        B("dry", "ext:-0.65:3 low:+0.04:3 two:-0.35:3", vent_m=0.30, max_head_m=3.0),
        B("near", "high:+0.95:3 bare:-0.30"),
    ),
    _river(
        "N10",
        "Juniper Dock",
        "substation/vital/1",
        18800,
        504_100.0,
        B("dry", "ext:-0.90:4 low:-0.30:4 two:-0.60:3", vent_m=0.30, max_head_m=3.5),
        B("high", "high:+2.80:4 high:+3.00:3"),
    ),
)

SOUTH: Final = (
    _river(
        "S01",
        "Larch Road",
        "substation/ordinary/-1",
        7400,
        496_000.0,
        B("dry", "ext:-0.52:4 low:+0.08:4 two:-0.22:3", vent_m=0.30, max_head_m=3.2),
    ),
    _river(
        "S02",
        "Maple Green",
        "substation/important/-1",
        12100,
        496_900.0,
        B("dry", "ext:-0.66:4 two:-0.28:3 low:+0.12:4", max_head_m=3.5),
        B("wet", "low:-0.55:4 low:-0.30:3", sill_m=0.0),
    ),
    _river(
        "S03",
        "Nettle Way",
        "exchange/ordinary/-1",
        3600,
        497_450.0,
        B("dry", "ext:-0.48:4 low:+0.295:3 high:+1.40:3", max_head_m=3.0),
    ),
    _river(
        "S04",
        "Oak Ferry",
        "pumping station/ordinary/-1",
        4800,
        498_600.0,
        B("dry", "ext:-0.58:4 low:+0.03:3", vent_m=0.28, max_head_m=3.0),
        B("near", "high:+0.98:3 high:+1.20:2 low:-0.20:3"),
    ),
    _river(
        "S05",
        "Pine Causeway",
        "substation/ordinary/-1",
        6900,
        499_400.0,
        B("dry", "ext:-0.42:4 two:-0.18:3 unk:2"),
        B("wet", "low:-0.50:3 low:-0.25:3 bare:-0.50", sill_m=0.10),
    ),
    _river(
        "S06",
        "Quince Court",
        "substation/important/-1",
        10300,
        501_300.0,
        B("far", "high:+1.50:4 high:+1.75:4 high:+1.60:2"),
    ),
    _river(
        "S07",
        "Rowan Gate",
        "exchange/ordinary/-1",
        2900,
        502_200.0,
        B("dry", "ext:-0.46:3 unp:-0.15:3 nolev:3"),
    ),
    _river(
        "S08",
        "Sorrel Basin",
        "substation/important/-1",
        11800,
        504_200.0,
        B("dry", "ext:-0.62:4 low:-0.05:4 two:-0.33:3", vent_m=0.32, max_head_m=3.5),
    ),
)

SMALL: Final = (
    _river(
        "S21",
        "Thorn Lea",
        "substation/ordinary/-1",
        0,
        494_700.0,
        B("dry", "low:-0.40:4 low:-0.10:3"),
    ),
    _river(
        "S22",
        "Ulex Rise",
        "pumping station/ordinary/-1",
        0,
        500_150.0,
        B("far", "high:+1.60:4 high:+1.40:2"),
    ),
)

APPROACHES: Final = (
    _river(
        "NA01",
        "Willow Head",
        "substation/ordinary/1",
        1900,
        490_600.0,
        B("dry", "low:-0.40:4 low:-0.10:3 unk:2"),
    ),
    _river(
        "NA02",
        "Yarrow Top",
        "pumping station/ordinary/-1",
        1500,
        491_000.0,
        B("dry", "low:-0.50:3 low:+0.20:3"),
    ),
    _river(
        "NA03",
        "Aspen Weir",
        "exchange/ordinary/1",
        2100,
        491_340.0,
        B("dry", "low:-0.50:3 low:+0.05:3", max_head_m=3.0),
    ),
    _river(
        "NA04",
        "Bramble End",
        "substation/important/1",
        7700,
        491_950.0,
        B("dry", "ext:-0.60:4 low:+0.05:4 two:-0.30:3", vent_m=0.30, max_head_m=3.2),
        B("high", "high:+2.90:3 high:+3.00:2"),
    ),
    _river(
        "NA05",
        "Clover Field",
        "substation/ordinary/-1",
        5600,
        492_000.0,
        B("dry", "low:-0.45:4 low:+0.295:3 high:+1.45:2", max_head_m=3.0),
    ),
    _river(
        "NA06",
        "Dock Meadow",
        "pumping station/important/1",
        6400,
        493_300.0,
        B("dry", "ext:-0.56:4 two:-0.26:3 low:+0.09:3", vent_m=0.35, max_head_m=3.0),
        B("wet", "low:-0.45:3 low:-0.35:2", sill_m=0.05),
    ),
    _river(
        "NA07",
        "Fennel Turn",
        "exchange/ordinary/-1",
        2600,
        493_400.0,
        B("far", "high:+1.55:3 high:+1.65:3"),
    ),
    _river(
        "NA08",
        "Ginkgo Pound",
        "substation/vital/1",
        13900,
        494_200.0,
        B("dry", "ext:-0.85:4 low:-0.20:3 high:+1.50:3", vent_m=0.30, max_head_m=3.5),
    ),
)

ISLES: Final = (
    _isle(
        "I01",
        "Samphire Point",
        "substation/important/Gannet",
        5200,
        95.0,
        B("dry", "ext:-0.55:4 low:+0.05:3 two:-0.25:3", vent_m=0.30, max_head_m=3.2),
    ),
    _isle(
        "I02",
        "Thrift Harbour",
        "pumping station/ordinary/Gannet",
        3100,
        200.0,
        B("dry", "ext:-0.50:4 low:+0.08:3", max_head_m=3.0),
        B("near", "high:+1.00:3 high:+1.15:2"),
    ),
    _isle(
        "I03",
        "Campion Hill",
        "exchange/ordinary/Gannet",
        1800,
        310.0,
        B("far", "high:+1.55:3 high:+1.70:3"),
    ),
    _isle(
        "I04",
        "Dulse Slip",
        "substation/ordinary/Tern",
        4400,
        80.0,
        B("dry", "ext:-0.60:4 two:-0.32:3 low:+0.10:3", vent_m=0.28, max_head_m=3.2),
        B("wet", "low:-0.50:3 low:-0.30:2 bare:-0.35", sill_m=0.0),
    ),
    _isle(
        "I05",
        "Kelp Strand",
        "pumping station/important/Tern",
        2500,
        250.0,
        B("dry", "low:-0.45:3 unk:2 unp:-0.15:2"),
    ),
)

CLEAN: Final = (
    _river(
        "K01",
        "Heather Bridge",
        "substation/ordinary/1",
        5000,
        496_300.0,
        B("dry", "low:-0.50:3 low:+0.05:2 high:+1.40:1", vent_m=0.30, max_head_m=3.2),
        B("high", "high:+2.90:2 high:+3.00:1"),
    ),
    _river(
        "K02",
        "Linden Mill",
        "pumping station/important/-1",
        3000,
        499_000.0,
        B("dry", "low:-0.55:2 low:+0.295:1", max_head_m=3.0),
        B("far", "high:+1.50:2 high:+1.60:1"),
    ),
    _river(
        "K03",
        "Myrtle Stairs",
        "exchange/ordinary/1",
        1200,
        501_700.0,
        B("near", "high:+0.95:2 low:-0.30:2 high:+1.10:1"),
    ),
)
_WORD_NAMES: Final = (
    "Bramble Yard", "Campion Wharf", "Dewberry Lane", "Elder Bank", "Foxglove Row", "Gorse Stile",
    "Hazel Ferry", "Ivy Sluice", "Juniper Cut", "Knapweed End", "Lupin Steps", "Mallow Cross",
)  # fmt: skip
WORDS: Final = tuple(
    _river(
        f"W{i + 1:02d}",
        name,
        f"{('substation', 'pumping station', 'exchange', 'other')[i % 4]}/ordinary/1",
        900 + 100 * i,
        494_000.0 + 800.0 * i,
        B("far", "high:+1.50:4 high:+1.65:3", vent_m=0.30, max_head_m=3.0),
    )
    for i, name in enumerate(_WORD_NAMES)
)
REGION_OF_PLAN: Final = {
    "North": NORTH,
    "South": (*SOUTH, *SMALL),
    "NA": APPROACHES,
    "Isles": ISLES,
}

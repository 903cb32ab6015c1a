"""Hand-over tables of the stage `levels`: heights of things, and water at places."""

from __future__ import annotations

from typing import Final

from pipeline.core import contract
from pipeline.tables.spec import Table, flag, real, text, whole

THING_KINDS: Final = (
    "duct end",
    "entry",
    "high point",
    "cover",
    "chamber floor",
    "floor",
    "lowest floor",
    "door",
    "vent",
    "equipment",
    "water seen",
    "drain",
    "hatch",
    "crack",
)

LEVELS = Table(
    "levels",
    "one level per thing: value, doubt in two parts, pedigree, path in words and in cells. "
    "A thing whose level is not known has a row with a blank level",
    ("thing_kind", "thing_id"),
    (
        text("thing_kind", "what the level belongs to", words=THING_KINDS),
        text("thing_id", "its id: end, entry, chamber or building"),
        text("site_id", "site"),
        real("level_m", "height on the working datum; blank = no level"),
        real("u_shared_m", "doubt shared with all that hang on the same point or visit", lo=0),
        real("u_own_m", "doubt of the own steps", lo=0),
        text("shared_key", "point or visit that is shared"),
        text("shared_parts", "every shared doubt by name (m): 'point P1 = 0.03; visit V2 = 0.02'"),
        real("bias_m", "bound of a bias of unknown sign, added in full", lo=0),
        real("limit_mm", "k x doubt + bias, rounded up to whole mm", lo=0),
        flag("has_pedigree", "every step of a named good method, datum and date", nullable=False),
        text("pedigree_gap", "the first step that lacks it; blank = none"),
        text("method", "method of the main chain"),
        text("datum", "datum the chain started on"),
        text("path", "the chain in words: 'cover 42.315 - dip 1.860 - bore 0.100'"),
        text("cells", "the cells of the chain, in the order of the path, joined by '; '"),
        real("second_level_m", "level by the second chain, where there is one"),
        text("second_path", "the second chain in words"),
        text("assumed", "assumption taken, in words; blank = none"),
    ),
)

FLOODS = Table(
    "floods",
    "water at a place: one row per place, source and event",
    ("place_kind", "place_id", "source_id", "aep_per_year", "event"),
    (
        text("place_kind", "chamber or building", words=("chamber", "building")),
        text("place_id", "chamber or building"),
        text("site_id", "site (blank for a street chamber)"),
        text("source_id", "source of the settings, or 'survey:' + flood_id, or 'seen:' + place"),
        text("mechanism", "river, sea, surface water, groundwater, sewer, reservoir, seen water"),
        real(
            "aep_per_year",
            "annual exceedance probability; -1 = every event (seen water, or a "
            "surface without a chance); -2 = past flood of unknown chance",
        ),
        text("event", "event in words"),
        text("climate", "climate state of the source"),
        text("defences", "defence state of the source"),
        text("answer", "one of the four answers", words=contract.ANSWERS, nullable=False),
        real(
            "level_m",
            "water level on the working datum, freeboard inside taken out; with "
            "is_nearest the reference water; blank = none",
        ),
        real("u_m", "doubt of the level, one standard deviation", lo=0),
        flag(
            "is_nearest",
            "the level is the reference water within reach of a dry place",
            nullable=False,
        ),
        flag(
            "is_refused",
            "something names this place and could not be used (a refused or blank row, an outline "
            "without level, a datum without shift): the place is at best without a flood level",
            nullable=False,
        ),
        real("distance_m", "distance to the cell or polygon that gave the level", lo=0),
        real("ground_m", "lowest ground of the ring (building) or ground at the cover (chamber)"),
        text("datum", "datum the source was on"),
        text("origin", "file and band, layer and row, or cell that gave the value"),
        text("assumed", "assumption taken, in words; blank = none"),
    ),
)

POLICIES = Table(
    "policies",
    "the policy of each site and where each part of it came from",
    ("site_id",),
    (
        text("site_id", "site"),
        real("design_aep_per_year", "design event", lo=0, hi=1, nullable=False),
        text("climate", "climate state that sources must have", nullable=False),
        text("defences", "defence state that sources must have", nullable=False),
        real("freeboard_m", "freeboard", lo=0, nullable=False),
        text("origin", "which setting or cell gave each part", nullable=False),
    ),
)

GROUND = Table(
    "ground",
    "ground model at chambers, buildings and sites",
    ("place_kind", "place_id"),
    (
        text("place_kind", "chamber, building or site"),
        text("place_id", "its id"),
        real("ground_m", "ground at the place on the working datum; blank = outside the model"),
        real("ring_low_m", "lowest ground of the ring outside a building"),
    ),
)

SUSPECTS = Table(
    "suspects",
    "for sites whose levels disagree: the measured numbers that best explain it",
    ("site_id", "rank"),
    (
        text("site_id", "site"),
        whole("rank", "1 = explains it best", lo=1, nullable=False),
        text("key", "sheet/id of the row that holds the number", nullable=False),
        text("column", "house name of its column", nullable=False),
        text("cell", "its cell"),
        real("value_m", "the number as read"),
        real("change_m", "what would have to be added to it"),
        real("left_mm", "largest disagreement of all other numbers without it", lo=0),
        text("words", "the same in a sentence, with what it cannot be told apart from"),
    ),
)

NETWORK = Table(
    "network",
    "points, covers and mouths of each site by least squares over all its measured numbers: "
    "evidence beside the levels that are used, which are those of the lowest chain",
    ("site_id", "point_id"),
    (
        text("site_id", "site"),
        text("point_id", "level point or chamber cover"),
        real("adjusted_m", "level on the working datum by all numbers together; blank = open"),
        real("adjusted_u_m", "doubt of it, one standard deviation", lo=0),
        whole("numbers_count", "measured numbers of the site", lo=0),
        whole("spare_count", "numbers of the site beyond those needed", lo=0),
        flag("is_believable", "the numbers agree within their doubts (99.9 %)", nullable=False),
        text("words", "the same in a sentence", nullable=False),
    ),
)

ALL = {t.name: t for t in (LEVELS, FLOODS, POLICIES, GROUND, SUSPECTS, NETWORK)}

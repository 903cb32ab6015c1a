"""Hand-over tables of the closing line: the network of mouths, its water, and the lines."""

from __future__ import annotations

from typing import Final

from pipeline.tables.spec import Table, flag, real, text, whole

WAY_EDGES = Table(
    "way_edges",
    "steps that water can take, one row per direction, as far as they can be trusted: what lacks "
    "pedigree or proof is no obstacle",
    ("edge_id",),
    (
        text("edge_id", "number of the step"),
        text("tail_id", "place that the water comes from", nullable=False),
        text("head_id", "place that it gets to", nullable=False),
        real("crest_level_m", "water at or above this passes; blank = no obstacle"),
        text("seal_tail_id", "end whose seal closes the step at its beginning"),
        text("seal_head_id", "end whose seal closes the step where it comes out"),
        text("opening_id", "opening that it comes out of"),
        flag("is_proved", "its link is proved", nullable=False),
        text("words", "the step in words", nullable=False),
    ),
)

WAY_WATERS = Table(
    "way_waters",
    "highest water that stands at a place of the network, by policy",
    ("policy_id", "place_id"),
    (
        text("policy_id", "event, climate, defences and freeboard"),
        text("place_id", "place of the network"),
        real("level_m", "policy line there: design level + freeboard; blank = not known, any"),
        text("words", "the water in words", nullable=False),
    ),
)

CLOSING_LINES = Table(
    "closing_lines",
    "cheapest set of ends that shuts a building, or all buildings of a site, off from every water "
    "at its policy line, beside all ends at the wall",
    ("kind", "place_id"),
    (
        text("kind", "building or site", words=("building", "site")),
        text("place_id", "building or site"),
        text("site_id", "site", nullable=False),
        text("region", "region"),
        text("end_ids", "ends to seal, joined by ';'; blank = none"),
        whole("ends_count", "number of ends", lo=0),
        whole("chamber_ends_count", "of these in chambers", lo=0),
        whole(
            "cost_minor",
            "material and hours of these seals and confined-space entries, without what comes "
            "once per visit",
            lo=0,
        ),
        real("gap_frac", "proven gap to the cheapest line; 0 = none is cheaper", lo=0, hi=1),
        flag(
            "is_possible",
            "seals alone close every way; blank = not known, some openings were not surveyed",
        ),
        text("cannot_close", "ways that no seal closes, in words; the line closes all others"),
        whole("all_wall_count", "ends at the wall of these buildings that are not above", lo=0),
        whole("all_wall_cost_minor", "cost of all these, counted alike", lo=0),
        text("all_wall_without_price", "of these, ends without a drawn seal: not in the cost"),
        text("conditions", "what the line rests on, in words"),
        text("method", "how it was found", nullable=False),
    ),
)

ALL: Final = {t.name: t for t in (WAY_EDGES, WAY_WATERS, CLOSING_LINES)}

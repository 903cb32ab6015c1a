"""Hand-over tables of the stage `exposure`: links, the water's way, the class of each opening."""

from __future__ import annotations

from typing import Final

from pipeline.core import contract
from pipeline.tables.spec import Table, flag, real, text, whole

OPENING_KINDS: Final = (
    "duct end",
    "entry",
    "chamber end",
    "door",
    "vent",
    "drain",
    "hatch",
    "crack",
    "gap beside duct",
)

LINKS = Table(
    "links",
    "ducts as links between places: one row per link, not per mouth",
    ("link_id",),
    (
        text("link_id", "name of the link: its end or ends"),
        text(
            "kind",
            "both ends seen, one end seen, unknown far end, entry without ends",
            nullable=False,
        ),
        text("end_a_id", "one mouth (or the entry without ends)"),
        text("end_b_id", "the other mouth, where it is listed"),
        text("place_a_id", "chamber or entry of the one mouth", nullable=False),
        text("place_b_id", "chamber or entry at the other; blank = unknown"),
        real("crest_level_m", "highest known invert of the way; blank = no obstacle known"),
        real("lowest_invert_m", "lowest known invert: groundwater enters from here up"),
        text("proof", "proof of the link as surveyed"),
        flag("is_proved", "the proof may clear", nullable=False),
        flag("is_blocked", "a dated, inspected, rated, sound seal stands in it", nullable=False),
        text("blocked_by", "seal that blocks"),
        real("length_m", "length, surveyed or straight", lo=0),
        text("note", "disagreement or assumption, in words"),
    ),
)

REACH = Table(
    "reach",
    "one row per opening (ends at walls and in chambers, entries without ends, doors, vents, "
    "drains): its class, margin, way and let-in level",
    ("opening_id",),
    (
        text("opening_id", "end or entry id, or building id + '/door' and the like"),
        text("opening_kind", "kind of opening", words=OPENING_KINDS, nullable=False),
        text("end_id", "duct end, where it is one"),
        text("entry_id", "entry, where it has one"),
        text("building_id", "building that it lets water into; blank for chamber ends"),
        text("chamber_id", "chamber of a chamber end"),
        text("site_id", "site"),
        text("region", "region"),
        flag(
            "is_sealable",
            "a duct end or bare entry in a wall that a seal can close",
            nullable=False,
        ),
        real("opening_level_m", "its own level; blank = no level"),
        text("level_class", "class", words=contract.CLASSES, nullable=False),
        real(
            "margin_mm",
            "let-in level minus policy line of the source that decides; negative = below",
        ),
        flag("margin_is_bound", "the margin is 'at least' this", nullable=False),
        real("limit_mm", "k x doubt + bias of the step that decides, whole mm"),
        text("reason", "the reason in words", nullable=False),
        text("way", "how the water comes", words=contract.WAYS, nullable=False),
        text("way_words", "the way step by step, in words"),
        text("way_places", "ids along the way from the source to the opening, joined by ' > '"),
        real("let_in_level_m", "lowest outside level that lets water in (control level)"),
        real("policy_level_m", "policy line of the source that decides: design level + freeboard"),
        real("water_level_m", "design level of that source, without freeboard"),
        real("freeboard_m", "freeboard of the policy"),
        text("source_id", "source that decides"),
        text("source_place_id", "place where that source lets water in"),
        text("mechanism", "its mechanism"),
        real("chance_below_frac", "chance that the opening is below the design level", lo=0, hi=1),
        flag("has_pedigree", "levels along the whole way may clear", nullable=False),
        flag("is_proved_way", "links along the whole way are proved", nullable=False),
        real(
            "onset_chance_per_year",
            "chance a year that water comes in here, as found; with "
            "several independent mechanisms 1 - product",
            lo=0,
            hi=1,
        ),
        text("onset_bound", "'', 'more often than' or 'rarer than'"),
        real("head_m", "highest water over the opening's own invert at the design event", lo=0),
        real("rarest_level_m", "policy level of the rarest modelled event at the opening"),
    ),
)

REACH_SOURCES = Table(
    "reach_sources",
    "each opening against each source that can get to it",
    ("opening_id", "source_id", "source_place_id"),
    (
        text("opening_id", "opening"),
        text("source_id", "source"),
        text("source_place_id", "place where it lets water in"),
        text("mechanism", "mechanism"),
        real("control_level_m", "lowest level of this source that lets water in"),
        real("control_u_m", "doubt of it, one standard deviation, bias included", lo=0),
        real("water_level_m", "design level there, without freeboard; blank = it stays dry"),
        real("water_u_m", "doubt of the design level; blank = not known", lo=0),
        real("policy_level_m", "design level + freeboard there; blank = not modelled"),
        real("margin_mm", "control level minus policy level"),
        real(
            "chance_per_year",
            "chance a year that this source reaches the control level",
            lo=0,
            hi=1,
        ),
        text("chance_bound", "'', 'more often than' or 'rarer than'"),
        real(
            "sure_chance_per_year",
            "the same over ways on which nothing is taken as open because it is not known",
            lo=0,
            hi=1,
        ),
        text("way_places", "ids along the way, joined by ' > '"),
        whole("chambers_count", "chambers on the way"),
    ),
)

ALL: Final = {t.name: t for t in (LINKS, REACH, REACH_SOURCES)}

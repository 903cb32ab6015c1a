"""Hand-over tables of the time that water takes: flow by opening, hours by building."""

from __future__ import annotations

from typing import Final

from pipeline.core import contract
from pipeline.tables.spec import Table, real, text, whole

# hours: a number of hours; at once: nothing to fill; not reached: not at this level, not by these
# openings; not known: something is missing, named in the words
FILL_ANSWERS: Final = ("hours", "at once", "not reached", "not known")

INGRESS = Table(
    "ingress",
    "how much water each opening into a building lets in at its policy level, at most: for "
    "information, no class depends on it",
    ("opening_id",),
    (
        text("opening_id", "duct end, or entry without ends"),
        text("building_id", "building that it lets water into"),
        text("site_id", "site"),
        text("level_class", "class of the opening", words=contract.CLASSES, nullable=False),
        real("inlet_level_m", "its own invert"),
        real("outside_level_m", "policy level; too close to call: with the doubt on top"),
        real("head_m", "outside level over the invert", lo=0),
        real("free_area_mm2", "free area, at most", lo=0),
        real(
            "length_m", "length counted; 0 where it is not known or water comes over ground", lo=0
        ),
        real("roughness_mm", "roughness counted", lo=0),
        real("cables_sum_mm", "sum of the cable diameters counted", lo=0),
        real("cables_square_mm2", "sum of their squares", lo=0),
        real("bore_mm", "bore counted; not round: round bore of the same area", lo=0),
        real("flow_l_per_s", "flow into an empty room, at most; blank = not known", lo=0),
        text("assumed", "what was taken because it is not known, in words"),
        text("missing", "why the flow is not known; blank = it is"),
    ),
)

FILLING = Table(
    "filling",
    "how soon water can stand at the equipment of each building at the policy level: for "
    "information, no class depends on it",
    ("building_id",),
    (
        text("building_id", "building"),
        text("site_id", "site"),
        real("floor_area_m2", "plan area as surveyed; blank = not known, never assumed", lo=0),
        real("floor_level_m", "lowest floor"),
        real("critical_depth_m", "lowest part that must stay dry over the lowest floor"),
        real("outside_level_m", "highest outside level of the openings counted"),
        whole("counted_count", "openings whose flow is counted", lo=0, nullable=False),
        whole("uncounted_count", "openings that may let water in uncounted", lo=0, nullable=False),
        real("inflow_l_per_s", "flow of those counted into the empty room, at most", lo=0),
        text("answer", "what the next column says", words=FILL_ANSWERS, nullable=False),
        real("earliest_h", "hours, not sooner; blank unless every opening is counted", lo=0),
        real("ducts_alone_h", "hours, not sooner, through the openings counted alone", lo=0),
        text("words", "the same in a sentence, with what is missing", nullable=False),
    ),
)

ALL: Final = {t.name: t for t in (INGRESS, FILLING)}

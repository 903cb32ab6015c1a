"""Hand-over tables of the stage `design`: the seal of each duct end, and where each piece lies."""

from __future__ import annotations

from typing import Final

from pipeline.core import contract
from pipeline.tables.spec import Table, flag, real, text, whole

DESIGNS = Table(
    "designs",
    "one row per duct end (also those that need no seal), and per entry without ends",
    ("end_id",),
    (
        text("end_id", "duct end, or entry without ends"),
        text("site_id", "site"),
        text("building_id", "building; blank for chamber ends"),
        text("region", "region"),
        flag(
            "is_needed",
            "the end is to be sealed: not above, or gas-tightness is asked for",
            nullable=False,
        ),
        text("need_reason", "why it is or is not to be sealed", nullable=False),
        flag("is_designed", "a seal could be drawn", nullable=False),
        text("not_designed_reason", "why no seal could be drawn, in words"),
        text("hold_reach", "widest reach of its holds", words=contract.HOLDS, nullable=False),
        text("hold_codes", "holds that apply, joined by ';'"),
        text("hold_words", "the holds in words for the crew and the buyer, joined by '; '"),
        text("lifted_codes", "holds that a release lifts, joined by ';'"),
        text("lifted_words", "who lifted them, when, on which condition"),
        text("standing_codes", "holds that stand at an end that was sealed, joined by ';'"),
        flag("is_made", "sealed by record and not accepted: nothing more is bought or planned"),
        text("firmness", "firm, provisional or held", words=contract.FIRMNESS, nullable=False),
        text("shape", "shape of the opening"),
        real("bore_mm", "bore, or first inside size", lo=0),
        real("bore_b_mm", "second inside size", lo=0),
        real("opening_area_mm2", "inside area of the opening", lo=0),
        real("cables_area_mm2", "area of all cables", lo=0),
        real("free_area_mm2", "area that sealant fills", lo=0),
        real("bonded_perimeter_mm", "perimeter that sealant bonds to", lo=0),
        real("free_circle_mm", "radius of the largest circle that fits the free area", lo=0),
        real("design_head_m", "head of water over the invert that the layer must stand", lo=0),
        text("head_from", "what gave the head"),
        real("layer_mm", "sealant layer", lo=0),
        text("layer_by", "policy minimum, shear or bending"),
        real("shear_kpa", "shear at the edge of a 20 mm policy layer under the head", lo=0),
        real("bending_kpa", "edge tension of a policy layer under the head", lo=0),
        real("allowance_frac", "sum of the named allowances", lo=0),
        text("allowance_words", "the named allowances"),
        real("sealant_ml", "sealant from unrounded sizes; provisional ends: the mean", lo=0),
        real("sealant_p50_ml", "middle of its range", lo=0),
        real(
            "sealant_p90_ml",
            "P90 from the doubts of bore, cables and count; provisional: of seen ends like it",
            lo=0,
        ),
        text("sleeves_words", "sleeves by size: '4 x 20 mm, 3 x 10 mm'"),
        whole("sleeves_count", "number of filler sleeves", lo=0),
        text(
            "sleeves_spare_words",
            "sleeves counted beyond the drawing: by size the quantity is the larger of the cables "
            "as drawn (separated) and as found; blank where the drawing needs no fewer",
        ),
        whole("collars_count", "number of cable collars", lo=0),
        text(
            "arrangement",
            "how the cables are drawn: as found or separated; head and quantity use the worse of both",
        ),
        real("filler_length_mm", "length of the filler", lo=0),
        real("depth_needed_mm", "recess + layer + filler", lo=0),
        real("depth_free_mm", "depth free behind the mouth; blank = not probed", lo=0),
        text("seal_from", "side that the seal is made from"),
        text("old_seal", "keep, over-seal or take out"),
        real("hours_h", "crew hours at the end", lo=0),
        text("steps", "steps of the sheet, joined by ' | '"),
        text("cautions", "cautions that apply to this end, joined by ' | '"),
        text("caution_codes", "what raises each of the cautions, in their order, joined by ';'"),
        text("cure_words", "when the seal may see water"),
        real("cure_days", "days until it may see water", lo=0),
        text("assumed", "assumptions taken, in words"),
    ),
)

PLACEMENTS = Table(
    "placements",
    "every circle of every drawn cross-section; origin at the centre of the opening, y up",
    ("end_id", "piece_no"),
    (
        text("end_id", "duct end"),
        whole("piece_no", "number of the piece in the drawing", nullable=False),
        text("kind", "cable, sleeve or collar", words=("cable", "sleeve", "collar")),
        text("cable_id", "cable row, where it is one"),
        text("cable_class", "class of the cable"),
        whole("group_no", "group that moves as one"),
        text("item_id", "item of the materials file, for sleeves and collars"),
        real("outer_mm", "outer diameter", lo=0),
        real("x_mm", "centre, to the right"),
        real("y_mm", "centre, up"),
    ),
)

PIECES = Table(
    "pieces",
    "pieces per end: what the buyer counts from",
    ("end_id", "item_id"),
    (
        text("end_id", "duct end"),
        text("item_id", "item of the materials file"),
        text("counted_by", "end, crew-day, site, crew or region"),
        real("quantity", "pieces, or ml for sealant; provisional ends: the mean", lo=0),
        real("quantity_p50", "middle of its range", lo=0),
        real("quantity_p90", "P90 of its range; provisional: of seen ends like it", lo=0),
        real("quantity_own_u", "its own doubt, one standard deviation in its unit", lo=0),
        text("quantity_shared", "doubts shared with other ends, by name, in its unit"),
        text("unit", "piece, ml or m"),
        text("firmness", "firm, provisional or held", words=contract.FIRMNESS),
    ),
)

CONSENTS = Table(
    "consents",
    "whose consent is needed in writing before ends are sealed: other people's chambers and cables",
    ("owner", "thing_kind", "thing_id"),
    (
        text("owner", "owner as surveyed; 'not known' is asked for first", nullable=False),
        text("thing_kind", "chamber or cable", words=("chamber", "cable"), nullable=False),
        text("thing_id", "chamber or cable row"),
        text("region", "regions of the ends, joined by ';'"),
        text("site_ids", "sites of the ends, joined by ';'"),
        text("end_ids", "ends that wait for it, joined by ';'"),
        whole("ends_count", "number of these ends", lo=1),
        text("words", "what is asked of whom"),
    ),
)

OLD_SEALS = Table(
    "old_seals",
    "what is done with each seal that is there, with its time and waste",
    ("seal_id", "end_id"),
    (
        text("seal_id", "seal that is there", nullable=False),
        text("end_id", "duct end, or entry without ends", nullable=False),
        text("site_id", "site"),
        text("building_id", "building"),
        text("region", "region"),
        text("kind", "kind of seal as surveyed"),
        text("condition", "its condition as surveyed"),
        text("proposal", "what the surveyor proposed"),
        text("decision", "what is done", words=("keep", "over-seal", "take out"), nullable=False),
        text("why", "why"),
        real("removal_h", "crew hours for taking it out; in the hours of the end", lo=0),
        text("waste_words", "where its waste goes, by end"),
        text("hold_reach", "widest hold of its end", words=contract.HOLDS),
    ),
)

ALL: Final = {t.name: t for t in (DESIGNS, PLACEMENTS, PIECES, CONSENTS, OLD_SEALS)}

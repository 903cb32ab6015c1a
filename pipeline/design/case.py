"""What the rules of holds and steps look at: one end, its drawing, and readings of its facts."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Final

from pipeline.core.materials import Materials, Surface, Takes
from pipeline.core.settings import Settings
from pipeline.design.facts import Facts, nearest, number, text
from pipeline.design.head import Head
from pipeline.design.section import Section

_POWER: Final = ("LV", "HV", "EHV", "unknown", "")
_DAMAGED: Final = ("cracked", "corroded", "joint at mouth")
_OWN: Final = ("own", "owner", "us", "ours", "the owner")
KEEP: Final = "keep"
OVER_SEAL: Final = "over-seal"
TAKE_OUT: Final = "take out"
WET_WELL: Final = "wet well"


@dataclass(frozen=True)
class Case:
    """One end with everything that its rules need."""

    facts: Facts
    settings: Settings
    materials: Materials
    head: Head
    section: Section | None = None
    not_drawn: str = ""  # why there is no section, in words
    outside: str = ""  # what lies outside the tested envelope
    depth_needed_mm: float = math.nan
    filler_length_mm: float = math.nan
    is_both_sealed: bool = False

    @property
    def cable_classes(self) -> set[str]:
        """Classes of the cables; '' where not given."""
        return {text(c, "cable_class") for c in self.facts.cables}

    @property
    def coverings(self) -> set[str]:
        """Coverings of the cables."""
        return {text(c, "covering") for c in self.facts.cables}

    @property
    def has_live_cables(self) -> bool:
        """True where any cable is not proved dead, or cables may be there unseen."""
        if any(text(c, "dead") != "yes, proved" for c in self.facts.cables):
            return True
        contents = text(self.facts.end, "contents")
        return not self.facts.cables and contents not in ("empty", "draw cord only", "capped")

    @property
    def has_agreement(self) -> bool:
        """True where each cable's owner has agreed to sealant and solvent on its covering."""
        return bool(self.facts.cables) and all(
            text(c, "compatible_note") for c in self.facts.cables
        )

    def coverings_that_are(self, state: Takes) -> str:
        """Coverings in the duct of which the materials file says so, joined; '' where none.

        What the owner of a cable has written of its covering stands in for a missing test, never
        for a test that failed.
        """
        sealant = self.materials.sealant
        found = {
            text(c, "covering") or "unknown"
            for c in self.facts.cables
            if sealant.takes(text(c, "covering") or "unknown") == state
            and (state == "not compatible" or not text(c, "compatible_note"))
        }
        return ", ".join(sorted(found))

    @property
    def has_power(self) -> bool:
        """True where a power cable lies in the duct, or may."""
        return any(c in _POWER for c in self.cable_classes)

    @property
    def filling(self) -> str:
        """'is' or 'may be' where a cable is, or may be, fluid-filled or under gas pressure; or ''."""
        for cable in self.facts.cables:
            filling, kind = text(cable, "filling"), text(cable, "cable_class")
            if filling == "oil or gas pressure":
                return "is"
            if filling in ("", "unknown") and kind in ("HV", "EHV", "unknown", ""):
                return "may be"
        return ""

    @property
    def damage(self) -> str:
        """What is wrong with a cable at the mouth; '' where nothing is."""
        conditions = [text(c, "condition") for c in self.facts.cables]
        return next((c for c in conditions if c in _DAMAGED), "")

    @property
    def has_earth(self) -> bool:
        """True where an earth conductor lies in the duct."""
        return text(self.facts.end, "duct_use") == "earth" or "earth" in self.cable_classes

    @property
    def may_move(self) -> bool:
        """True where the owner's general leave to move cables apart can be used.

        Not beside filled or damaged cables and earth conductors: only their owner's own people
        move these, so that the seal is drawn round them as they lie.
        """
        return self.settings.design.separate_cables and not (
            self.filling or self.damage or self.has_earth
        )

    @property
    def depth_free_mm(self) -> float:
        """Free depth behind the mouth (mm); NaN = not probed. '300 or more' is taken as 300."""
        if text(self.facts.end, "clear_depth_word").startswith("300"):
            return 300.0
        return number(self.facts.end, "clear_depth_mm")

    @property
    def is_short(self) -> bool:
        """True where the free depth is known and less than the seal needs."""
        return self.depth_free_mm < self.depth_needed_mm

    @property
    def surface(self) -> Surface:
        """Dry only where the duct was seen dry."""
        return "dry" if text(self.facts.end, "water_now") == "dry" else "wet"

    @property
    def is_wet(self) -> bool:
        """True where water was seen in the duct."""
        return text(self.facts.end, "water_now") in ("damp", "drip", "run", "full bore")

    @property
    def is_turned(self) -> str:
        """'floor' or 'roof' for mouths that do not lie in a wall."""
        lie = text(self.facts.end, "lie")
        face = nearest("face", self.facts.end, self.facts.entry)
        if lie.startswith("floor") or face == "floor":
            return "floor"
        return "roof" if lie.startswith("roof") or face == "roof" else ""

    @property
    def old_seal(self) -> str:
        """What is done with the seal that is there: keep, over-seal or take out; '' = none.

        House rule: keep only what blocks by the policy; over-seal only where the surveyor
        proposes it on a sound dry seal; else take out.
        """
        if not self.facts.seals:
            return ""
        if self.is_rated:
            # what was tested against water says nothing about gas
            return OVER_SEAL if self.gas_reason else KEEP
        sound = all(
            text(s, "condition") == "sound"
            and text(s, "water_passing") == "none"
            and text(s, "proposal") == OVER_SEAL
            for s in self.facts.seals
        )
        return OVER_SEAL if sound else TAKE_OUT

    @property
    def is_rated(self) -> bool:
        """True where every seal that is there counts as closed against the design head."""
        return bool(self.facts.seals) and all(is_kept(s, self) for s in self.facts.seals)

    @property
    def wet_well(self) -> str:
        """The wet well that the duct comes from; '' where it comes from none."""
        rows = (self.facts.chamber, self.facts.far_chamber)
        return next((text(r, "chamber_id") for r in rows if text(r, "kind") == "wet well"), "")

    @property
    def gas_reason(self) -> str:
        """Why the end is to be gas-tight, whatever the water does; '' where nobody asks for it."""
        asked = self.settings.design.gas_tight
        facts = self.facts
        if WET_WELL in asked and self.wet_well:
            return f"it comes from the wet well {self.wet_well}"
        places = (
            facts.end_id,
            facts.place_id,
            text(facts.end, "far_place_id"),
            text(facts.building, "building_id"),
            text(facts.site, "site_id"),
        )
        named = [p for p in places if p and p in asked]
        return f"asked for at {named[0]}" if named else ""

    @property
    def asbestos(self) -> str:
        """'yes', 'unknown' (which counts as yes) or '' for a mouth and the seals in it."""
        facts = self.facts
        duct = nearest("asbestos_suspect", facts.entry, facts.chamber, facts.building)
        material = text(facts.end, "material")
        seals = {text(s, "asbestos_suspect") for s in facts.seals}
        if "yes" in {duct} | seals or material.startswith("asbestos"):
            return "yes"
        built = number(facts.building, "built_year")
        is_fibrous = material in ("fibre", "unknown", "") or "fibrous wrap" in self.coverings
        if duct != "no" and (self._is_old(built) or is_fibrous):
            return "unknown"
        unsure = [s for s in facts.seals if text(s, "asbestos_suspect") != "no"]
        if any(
            self._is_old(number(s, "made_year")) or text(s, "kind") in ("unknown", "putty", "")
            for s in unsure
        ):
            return "unknown"
        return ""

    def _is_old(self, year: float) -> bool:
        """A blank year counts as older than the setting year."""
        return not year >= self.settings.value.asbestos_year

    @property
    def fire_wall(self) -> str:
        """'yes', 'unknown' or ''."""
        state = nearest("fire_wall", self.facts.entry, self.facts.building)
        if "yes" in {state} | {text(s, "fire_label") for s in self.facts.seals}:
            return "yes"
        if self.facts.is_chamber_end:
            return ""
        return "" if state == "no" else "unknown"

    @property
    def may_hide_water(self) -> bool:
        """True where water stands, or may stand, behind the mouth, a cap or an old seal."""
        end = self.facts.end
        if text(end, "water_now") in ("full bore", "not seen", ""):
            return True
        is_closed = bool(self.facts.seals) or text(end, "contents") in ("capped", "silted")
        far_is_dry = text(self.facts.far_chamber, "water_state") in ("dry", "damp")
        return is_closed and not far_is_dry

    @property
    def others(self) -> list[tuple[str, str, str]]:
        """Kind, id and owner of what belongs to others; an unknown owner ('') counts as another."""
        out = []
        for row in (self.facts.chamber, self.facts.far_chamber):
            owner = text(row, "owner")
            if row and owner != "own":
                owner = "" if owner == "unknown" else owner
                out.append(("chamber", text(row, "chamber_id"), owner))
        for cable in self.facts.cables:
            owner = text(cable, "owner")
            if owner and owner.casefold() not in _OWN:
                out.append(("cable", text(cable, "cable_id"), owner))
        return out

    @property
    def other_owners(self) -> list[str]:
        """Who else owns chamber or cables, in words."""
        return [f"{kind} {thing}: {owner or 'unknown'}" for kind, thing, owner in self.others]


def is_kept(seal: dict[str, object], case: Case) -> bool:
    """True where a seal that is there counts as closed: dated, sound, dry, rated for the head."""
    inspected = text(seal, "inspected_on")
    rated = number(seal, "rated_head_m")
    if not inspected or math.isnan(case.head.head_m):
        return False
    age = (case.settings.planning_date - dt.date.fromisoformat(inspected[:10])).days
    return bool(
        0 <= age <= case.settings.surveys.seal_age_years * 365.25
        and text(seal, "condition") == "sound"
        and text(seal, "water_passing") == "none"
        and rated >= case.head.head_m
    )

"""Words, symbols and colours that every output shares (the contract with the readers)."""

from __future__ import annotations

from typing import Final

# Level classes. Their order is the order of every list: worst known first.
BELOW: Final = "below"
CLOSE: Final = "too close to call"
ABOVE: Final = "above"
NO_LEVEL: Final = "no level"
NO_FLOOD: Final = "no flood level"
CLASSES: Final = (BELOW, CLOSE, ABOVE, NO_LEVEL, NO_FLOOD)

# The four answers of a flood source at a place.
LEVEL: Final = "level"
DRY: Final = "dry in this event"
NOT_MODELLED: Final = "not modelled"
HOLE: Final = "hole filled"
ANSWERS: Final = (LEVEL, DRY, NOT_MODELLED, HOLE)

# How the water gets to an opening.
OVER_GROUND: Final = "over ground"
THROUGH_DUCT: Final = "through duct"
BOTH_WAYS: Final = "both"
NONE_FOUND: Final = "none found"
WAY_UNKNOWN: Final = "unknown"
WAYS: Final = (OVER_GROUND, THROUGH_DUCT, BOTH_WAYS, NONE_FOUND, WAY_UNKNOWN)

# Weights of findings, and the state that they give a row.
STOP: Final = "STOP"
ASK: Final = "ASK"
NOTE: Final = "NOTE"
WEIGHTS: Final = (STOP, ASK, NOTE)
USED: Final = "used"
ASKED: Final = "asked"
REFUSED: Final = "refused"
ROW_STATES: Final = (USED, ASKED, REFUSED)

# Reach of a hold, widest first.
HOLD_DESIGN: Final = "design"
HOLD_ORDER: Final = "order"
HOLD_WORK: Final = "work"
HOLD_NONE: Final = "none"
HOLDS: Final = (HOLD_DESIGN, HOLD_ORDER, HOLD_WORK, HOLD_NONE)

# Firmness of a quantity.
FIRM: Final = "firm"
PROVISIONAL: Final = "provisional"
HELD: Final = "held"
FIRMNESS: Final = (FIRM, PROVISIONAL, HELD)
# What a need of a chosen building belongs to: the package that was chosen, or a step beyond it.
CHOSEN_WORK: Final = "chosen package"
LATER_STEP: Final = "later step"
BELONGS: Final = (CHOSEN_WORK, LATER_STEP)

# Proofs of a link that may clear an opening; all others only let water in.
PROVED: Final = ("rodded", "traced", "light, air or dye seen", "cable identity")

# Methods good enough for `above` when every step of a chain has one of them.
PEDIGREE_METHODS: Final = (
    "levelled",
    "total station",
    "GNSS network",
    "GNSS base and rover",
    "tape",
)

CLASS_COLOURS: Final = {
    BELOW: "#4B0055",
    CLOSE: "#00588B",
    ABOVE: "#53CC67",
    NO_LEVEL: "#444444",
    NO_FLOOD: "#444444",
}
CLASS_SYMBOLS: Final = {
    BELOW: "filled square",
    CLOSE: "half-filled square",
    ABOVE: "ring",
    NO_LEVEL: "cross",
    NO_FLOOD: "cross in a box",
}

EXAMPLE_MATERIALS_NOTE: Final = "example materials: no head rating, not for work"

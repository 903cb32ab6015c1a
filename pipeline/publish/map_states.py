"""Where each end stands by its records, as the map says it: state, programme, next step."""

from __future__ import annotations

from typing import Any, Final

from pipeline.core import contract
from pipeline.core.record_sheets import STATES
from pipeline.publish.map_places import records, text
from pipeline.tables import Tables

NO_SEAL: Final = "no seal"
NO_RECORD: Final = ""
_MORE: Final = {
    "ordered": "ordered: its kit is not packed yet",
    "packed": "packed: its kit is ready",
    "sealed": "sealed: nobody has looked yet",
    "inspected": "inspected: looked at, not accepted",
    "accepted": "accepted: sealed, and the record bears it",
    "changed": "changed: opened again after it was sealed",
}
STATE_WORDS: Final = {
    **{state: _MORE.get(state, state) for state in STATES},
    NO_RECORD: "no state: not a duct end",
}
CHOSEN, NEEDED, OTHER, NO_NEED = "chosen", "needed", "other means", "none"
BOUGHT, MADE, AGAIN, DONE = "bought", "made", "again", "done"
PLAN_WORDS: Final = {
    CHOSEN: "in a chosen package",
    NEEDED: "seal needed, in no chosen package",
    BOUGHT: "ordered or packed before: sealed with that order",
    AGAIN: "to be sealed again: opened, or not accepted",
    MADE: "sealed, waits for acceptance: no seal to make",
    DONE: "sealed and accepted: no seal to make",
    OTHER: "not above, and no duct seal closes it",
    NO_NEED: "no seal planned",
}


class Life:
    """State and seal of every end by its records, looked up once."""

    def __init__(self, tables: Tables) -> None:
        self._states = {
            text(r["end_id"]): r
            for r in records(
                tables["states"], "end_id", "state", "moved_on", "move_reason", "stuck_reason",
                "ahead", "lifted_holds",
            )
        }  # fmt: skip
        self._sealed = {
            text(r["end_id"]): r
            for r in records(tables["sealed_ends"], "end_id", "is_made", "is_accepted", "is_closed")
        }

    def of(self, end_id: str) -> dict[str, str]:
        """State of an end in words; blank where no state is kept (doors, vents, cracks)."""
        row = self._states.get(end_id)
        if row is None:
            return dict.fromkeys(("state", "state_since", "stuck", "ahead", "lifted"), "")
        since = ": ".join(x for x in (text(row["moved_on"]), text(row["move_reason"])) if x)
        return {
            "state": text(row["state"]),
            "state_since": since,
            "stuck": text(row["stuck_reason"]),
            "ahead": text(row["ahead"]).replace(";", ", "),
            "lifted": text(row["lifted_holds"]).replace(";", ", "),
        }

    def plan(self, row: dict[str, Any], end_id: str, hold: str, *, is_chosen: bool) -> str:
        """What the programme has for an opening: a seal that is made is no work to do."""
        if (sealed := self._sealed.get(end_id)) is not None:
            if bool(sealed["is_accepted"]) and bool(sealed["is_closed"]):
                return DONE
            return MADE if bool(sealed["is_made"]) else AGAIN
        if self._states.get(end_id, {}).get("state") in ("ordered", "packed"):
            return BOUGHT
        if is_chosen:
            return CHOSEN
        if hold != NO_SEAL:
            return NEEDED
        is_wall = text(row["opening_kind"]) != "chamber end"
        return OTHER if is_wall and row["level_class"] != contract.ABOVE else NO_NEED


def next_step(
    row: dict[str, Any], seal: dict[str, str], life: dict[str, str], plan: tuple[str, str, str]
) -> str:
    """What somebody has to do next, in one sentence.

    Parameters
    ----------
    row : dict
        Row of the table reach.
    seal : dict
        Its hold in words.
    life : dict
        Its state in words.
    plan : tuple of str
        What the programme has for it, year, and crew day; blank where none.

    Returns
    -------
    str

    """
    what, year, day = plan
    stuck = f"; {life['stuck']}" if life["stuck"] else ""
    if what == DONE:
        return f"no seal to make: accepted{stuck}"
    steps = []
    if row["level_class"] == contract.NO_LEVEL:
        steps.append("measure its level")
    if row["level_class"] == contract.NO_FLOOD:
        steps.append("ask for a flood level here")
    if what == MADE:
        return ", then ".join([*steps, f"no seal to make: it waits for acceptance{stuck}"])
    if seal["hold_words"]:
        steps.append("release the hold")
    when = {
        CHOSEN: f"seal it, {'crew day ' + day if day else 'year ' + year}",
        NEEDED: "seal it when a package is chosen for it",
        BOUGHT: f"seal it with the order that stands: {life['state']}{stuck}",
        AGAIN: f"seal it again{stuck}",
        OTHER: "close it by other means: no duct seal is drawn for it",
    }
    if what in when:
        steps.append(when[what])
    return ", then ".join(steps) or "none planned"

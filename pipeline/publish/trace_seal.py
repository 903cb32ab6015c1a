"""The part of `trace` on the seal of an end: its design, its two heads, what holds it."""

from __future__ import annotations

from pipeline.core.hold_words import holds_in
from pipeline.publish.heads import AT_EVENT, OF_SEAL, at_event, of_seal
from pipeline.publish.trace_folder import Lines, RunFolder


def seal_change(run: RunFolder, row: dict[str, str]) -> Lines:
    """What would get a seal drawn where none is: what has to be known first, and who is asked."""
    design = run.one("designs", end_id=row["end_id"] or row["opening_id"])
    if design is None or design["is_needed"] != "True" or design["is_designed"] == "True":
        return
    if design["head_from"].startswith(("assumed", "not known")):
        what = "a measured level of this end" if "own level" in design["head_from"] else (
            "a known water level there"
        )  # fmt: skip
        yield 1, f"first {what}: the head of its seal is {design['head_from']}"
    for hold in holds_in(design["hold_words"]):
        yield 1, f"for a seal {hold.released_by} is asked {hold.asked}"


def seal_lines(run: RunFolder, row: dict[str, str]) -> Lines:
    """State, design or why there is none, both heads, holds."""
    design = run.one("designs", end_id=row["end_id"] or row["opening_id"])
    if design is None:
        return
    yield 0, "Seal"
    state = run.one("states", end_id=design["end_id"])
    if state is not None:
        by = " ".join(t for t in (state["moved_on"], state["moved_by"]) if t)
        yield 1, f"state: {state['state']} ({by}; {state['move_reason']}); {state['stuck_reason']}"
    if design.get("lifted_words"):
        yield 1, f"holds lifted: {design['lifted_words']}"
    if design["is_needed"] != "True":
        yield 1, f"none: {design['need_reason']}"
        return
    if design["is_designed"] == "True":
        yield (
            1,
            (
                f"{design['sleeves_words'] or 'no sleeves'}; {float(design['layer_mm']):.0f} mm of "
                f"sealant ({design['layer_by']}), {float(design['sealant_ml']):.0f} ml (P90 "
                f"{float(design['sealant_p90_ml']):.0f} ml); counts as "
                f"{design['firmness']}"
            ),
        )
    else:
        yield 1, f"not designed: {design['not_designed_reason']}"
    for name, words in (
        (AT_EVENT, at_event(float(row["head_m"] or "nan"))),
        (OF_SEAL, of_seal(float(design["design_head_m"] or "nan"), design["head_from"])),
    ):
        if words:
            yield 1, f"{name}: {words}"
    if design["hold_words"]:
        yield 1, f"held ({design['hold_reach']}): {design['hold_words']}"
    if run.record.get("materials_note"):
        yield 1, run.record["materials_note"]

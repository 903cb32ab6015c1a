"""The part of `trace` on a building: openings in order, time, packages, its place in the programme."""

from __future__ import annotations

from pipeline.core.curves import MORE_OFTEN, RARER, encounter_frac
from pipeline.core.money import about
from pipeline.publish.trace_folder import (
    Lines,
    RunFolder,
    chance_text,
    classes_text,
    ends_text,
    margin_text,
    metres_text,
    said_about,
)


def building_lines(run: RunFolder, an_id: str) -> Lines:
    """What is known of a building, first to last."""
    row = run.one("buildings", building_id=an_id) or {}
    openings = run.rows("reach", building_id=an_id)
    yield 0, f"{an_id}: building of site {row['site_id'] or 'not known'}"
    count = "1 opening" if len(openings) == 1 else f"{len(openings)} openings"
    yield 1, f"{count}: {classes_text(openings)}"
    openings.sort(key=lambda r: (-float(r["onset_chance_per_year"] or 1.1), r["opening_id"]))
    yield 0, "Openings, the first to let water in first"
    for one in openings:
        yield (
            1,
            (
                f"{one['opening_id']}: {one['level_class']}, {margin_text(one)}, let in at "
                f"{metres_text(one['let_in_level_m'])} by the water that decides; over all waters "
                f"{chance_text(one['onset_chance_per_year'], one['onset_bound'])}"
            ),
        )
    yield from _time(run, an_id)
    yield from closing_line_of(run, "building", an_id)
    yield from _ladder(run, an_id)
    yield from said_about(run, an_id)


def closing_line_of(run: RunFolder, kind: str, an_id: str) -> Lines:
    """The cheapest set of ends that shuts a building or a site off from the water."""
    line = run.one("closing_lines", kind=kind, place_id=an_id)
    if line is None:
        return
    currency = str(run.record.get("settings", {}).get("programme", {}).get("currency", ""))
    shut = {"True": "seals alone close every way", "False": "seals alone do not close it"}
    yield 0, "Cheapest closing line, at the policy line of every source"
    yield 1, shut.get(line["is_possible"], "not known whether seals alone close it")
    if line["end_ids"]:
        cost = about(int(line["cost_minor"]), currency)
        gap = float(line["gap_frac"] or 0.0)
        proof = "none is cheaper" if gap == 0.0 else f"at most {gap:.0%} dearer than the cheapest"
        yield 1, f"{ends_text(line['ends_count'])} for {cost} ({proof}): {line['end_ids']}"
    if line["all_wall_count"]:
        cost = about(int(line["all_wall_cost_minor"] or 0), currency)
        without = line["all_wall_without_price"]
        more = f", without a price: {without}" if without else ""
        yield 1, f"all ends at the wall: {line['all_wall_count']} for {cost}{more}"
    if line["cannot_close"]:
        yield 1, f"no seal closes: {line['cannot_close']}"
    if line["conditions"]:
        yield 1, f"it rests on: {line['conditions']}"


def _time(run: RunFolder, building: str) -> Lines:
    filling = run.one("filling", building_id=building)
    if filling is None:
        return
    yield 0, "Time until water stands at the equipment (for information, at the policy level)"
    yield 1, f"{filling['answer']}: {filling['words']}"
    if filling["ducts_alone_h"] and not filling["earliest_h"]:
        yield (
            1,
            (
                f"through the {filling['counted_count']} openings that can be counted alone not "
                f"sooner than {float(filling['ducts_alone_h']):.1f} h"
            ),
        )


def _in_life(chance: str, bound: str, years: int) -> str:
    """The chance over the life of the seals, in words; blank where it is not known."""
    if not chance or not years or float(chance) <= 0.0:
        return ""
    side = {MORE_OFTEN: "more than ", RARER: "less than "}.get(bound, "")
    return f" ({side}{float(encounter_frac(float(chance), years)):.0%} in {years} years)"


def _more_chance(step: dict[str, str], before: str) -> bool:
    """Whether a step with more seals has the higher chance of water inside."""
    after = step["after_chance_per_year"]
    return bool(before and after) and float(after) > float(before)


def _ladder(run: RunFolder, building: str) -> Lines:
    years = int(run.record.get("settings", {}).get("value", {}).get("life_years", 0))
    currency = str(run.record.get("settings", {}).get("programme", {}).get("currency", ""))
    steps = sorted(run.rows("packages", building_id=building), key=lambda p: int(p["step_no"]))
    if steps:
        yield 0, "Packages, each with all ends of the one before"
    before = ""
    for step in steps:
        yield (
            1,
            (
                f"{step['package_id']}: {ends_text(step['ends_count'])} ({step['end_ids']}), {step['gain']}, "
                f"cost {about(int(step['cost_minor']), currency)}"
            ),
        )
        yield (
            2,
            (
                f"water inside {chance_text(step['before_chance_per_year'], step['before_bound'])}"
                f"{_in_life(step['before_chance_per_year'], step['before_bound'], years)}, after "
                f"it {chance_text(step['after_chance_per_year'], step['after_bound'])}"
                f"{_in_life(step['after_chance_per_year'], step['after_bound'], years)}, seals that "
                f"fail counted; next gate: "
                f"{step['next_gate'] or 'none known'}"
            ),
        )
        if _more_chance(step, before):
            yield 2, "more seals, each of which may fail, and what they close is not what decides"
        before = step["after_chance_per_year"]
        if step["dry_after_frac"]:
            bound = f"{step['dry_bound']} " if step["dry_bound"] else ""
            yield (
                2,
                (
                    f"chance to stay dry in the design event: {bound}"
                    f"{float(step['dry_after_frac']):.1%} (give or take "
                    f"{float(step['dry_error_frac']):.1%}), as found "
                    f"{float(step['dry_before_frac']):.1%}"
                    + (f"; {step['dry_words']}" if step["dry_words"] else "")
                ),
            )
        if step["assumed"]:
            yield 2, f"assumed: {step['assumed']}"
    choice = run.one("choices", building_id=building)
    if choice is not None:
        rank = f"rank {choice['rank']}: " if choice["rank"] else "left out: "
        yield 0, "In the programme"
        yield 1, f"{rank}{choice['reason'] or choice['left_out_reason']}"

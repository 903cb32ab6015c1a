"""`stanch trace`: one end, entry, building or site explained from the tables of a run folder alone."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from pipeline.core import contract
from pipeline.core.doubts import read_parts
from pipeline.core.errors import UsageError
from pipeline.core.spelling import nearest, one_meant, read_as
from pipeline.publish.trace_building import building_lines, closing_line_of
from pipeline.publish.trace_folder import (
    Lines,
    RunFolder,
    chance_text,
    classes_text,
    margin_text,
    metres_text,
    said_about,
)
from pipeline.publish.trace_seal import seal_change, seal_lines

KINDS: Final = ("opening", "entry", "building", "site", "chamber")
_OTHERS_SHOWN: Final = 5
_SAME_M: Final = 5e-4
_BOTH: Final = "over ground and through ducts"
_THING: Final = {"duct end": "duct end", "chamber end": "duct end", "entry": "entry",
                 "gap beside duct": "entry"}  # fmt: skip


def trace(folder: Path, an_id: str, kind: str = "") -> list[str]:
    """Explain one thing of a run.

    Parameters
    ----------
    folder : Path
        Run folder.
    an_id : str
        End, entry, building, site or chamber.
    kind : str
        One of KINDS, where an id names two things.

    Returns
    -------
    list of str
        Lines to print.

    Raises
    ------
    UsageError
        No run folder, no such thing, or an id of two kinds.
    """
    run = RunFolder(folder)
    work = {"opening": _opening, "entry": _entry, "building": building_lines, "site": _site,
            "chamber": _chamber}  # fmt: skip
    meant, kind = meant_by(run, an_id, kind)
    lines = [f"{'  ' * depth}{text}" for depth, text in work[kind](run, meant)]
    return [*read_as(an_id, meant), *lines]


def meant_by(run: RunFolder, an_id: str, kind: str = "") -> tuple[str, str]:
    """Which id is meant, and what it names.

    Parameters
    ----------
    run : RunFolder
    an_id : str
        As it was typed; another case is taken where only one id fits.
    kind : str
        One of KINDS, where an id names two things.

    Returns
    -------
    id, kind

    Raises
    ------
    UsageError
        It names nothing, or two things.
    """
    known = {name: ids for name, ids in _ids(run).items() if not kind or name == kind}
    meant = one_meant(an_id, (i for ids in known.values() for i in ids))
    found = [name for name, ids in known.items() if meant and meant in ids]
    if "opening" in found and "entry" in found:
        found.remove("entry")  # an entry without ends is the opening itself; others have ends
    if not found:
        raise _nothing(run, an_id, kind)
    if len(found) > 1:
        raise UsageError(
            f"{meant} names a {' and a '.join(found)}.", mend=f"Add --kind {found[0]}."
        )
    return meant, found[0]


def _ids(run: RunFolder) -> dict[str, list[str]]:
    """Ids of a run by what they name, in the order in which they are offered."""
    where = (("entry", "entries", "entry_id"), ("opening", "reach", "opening_id"),
             ("building", "buildings", "building_id"), ("site", "sites", "site_id"),
             ("chamber", "chambers", "chamber_id"))  # fmt: skip
    return {
        kind: run.tables[table][key].tolist() if key in run.tables[table] else []
        for kind, table, key in where
    }


def _nothing(run: RunFolder, an_id: str, kind: str) -> UsageError:
    near = nearest(an_id, (i for ids in _ids(run).values() for i in ids))
    what = f"{kind} {an_id}" if kind else an_id
    return UsageError(
        f"There is no {what} in this run.",
        mend=f"Nearest: {', '.join(near)}." if near else "Ids stand in tables/reach.csv.",
    )


def _opening(run: RunFolder, an_id: str) -> Lines:
    row = run.one("reach", opening_id=an_id) or {}
    place = row["building_id"] or row["chamber_id"]
    yield 0, f"{an_id}: {row['opening_kind']} at {place}, site {row['site_id'] or 'not known'}"
    yield 1, f"{row['level_class']}, {margin_text(row)}. {row['reason']}."
    yield from _own_level(run, row)
    yield from _policy(run, row)
    yield from _water(run, row)
    yield from _way(run, row)
    yield from _change(row)
    yield from seal_change(run, row)
    yield from seal_lines(run, row)
    yield from said_about(run, an_id)
    decides = row["source_place_id"]
    if decides and decides not in {an_id, row["building_id"]}:
        yield from said_about(run, decides, f"Said of {decides}, whose water decides")


def _own_level(run: RunFolder, row: dict[str, str]) -> Lines:
    kind = _THING.get(row["opening_kind"], row["opening_kind"])
    thing = row["end_id"] or row["entry_id"] or row["building_id"]
    level = run.one("levels", thing_kind=kind, thing_id=thing)
    yield 0, "Its own level"
    if level is None or not level["level_m"]:
        yield 1, "not known: treated as reached by water"
        return
    yield 1, f"{metres_text(level['level_m'])} on {level['datum']}: {level['path']}"
    yield 1, f"cells: {level['cells'] or 'none'}"
    own, shared = float(level["u_own_m"]), float(level["u_shared_m"])
    parts = "; ".join(
        f"{u * 1000:.0f} mm of {n}" for n, u in read_parts(level["shared_parts"]).items()
    )
    with_key = f" ({parts})" if parts else ""
    yield (
        1,
        (
            f"doubt (one standard deviation): own {own * 1000:.0f} mm, shared {shared * 1000:.0f} mm"
            f"{with_key}; bias bound {float(level['bias_m'] or 0) * 1000:.0f} mm; limit "
            f"{float(level['limit_mm']):.0f} mm"
        ),
    )
    good = level["has_pedigree"] == "True"
    yield (
        1,
        "every step is good enough to clear" if good else f"cannot clear: {level['pedigree_gap']}",
    )
    yield from _adjusted(run, level)
    if level["second_level_m"]:
        yield 1, f"second chain: {metres_text(level['second_level_m'])}: {level['second_path']}"
    if level["assumed"]:
        yield 1, f"assumed: {level['assumed']}"


def _adjusted(run: RunFolder, level: dict[str, str]) -> Lines:
    """What the whole network of the site says of the points that a level hangs on."""
    for point in run.rows("network", site_id=level["site_id"]):
        if point["point_id"] in level["path"] and int(point["spare_count"]):
            yield 1, f"network of the site: {point['words']}"


def _policy(run: RunFolder, row: dict[str, str]) -> Lines:
    policy = run.one("policies", site_id=row["site_id"])
    yield 0, "Policy"
    if policy is None:
        yield 1, "site not known: the strictest of all policies"
        return
    yield (
        1,
        (
            f"design event {chance_text(policy['design_aep_per_year'])}, climate {policy['climate']}, "
            f"{policy['defences']} defences, freeboard {float(policy['freeboard_m']):.2f} m"
        ),
    )
    yield 1, policy["origin"]


def _source_words(row: dict[str, str]) -> str:
    if row["source_id"]:
        return f"source {row['source_id']}"
    return "no source of the settings models it" if not row["water_level_m"] else "seen there"


def _water(run: RunFolder, row: dict[str, str]) -> Lines:
    near_words = row["reason"].startswith("nearest water")
    yield 0, "The water with the smallest margin" if near_words else "The water that decides"
    if near_words:
        yield 1, f"the class itself comes from the {row['reason']}"
    if not row["source_place_id"]:
        yield 1, "no water of the design event gets to it by any way that is known"
        return
    yield (
        1,
        (
            f"{row['mechanism']} at {row['source_place_id']}: level {metres_text(row['water_level_m'])}, "
            f"policy line {metres_text(row['policy_level_m'])} ({_source_words(row)})"
        ),
    )
    for flood in _events(run, row["source_place_id"], row["mechanism"]):
        near = _how_far(flood)
        yield (
            2,
            (
                f"{_event(flood)}: {flood['answer']}, {metres_text(flood['level_m'])}{near}, "
                f"{flood['origin']}{'; ' + flood['assumed'] if flood['assumed'] else ''}"
            ),
        )
    others = [s for s in run.rows("reach_sources", opening_id=row["opening_id"])
              if (s["source_place_id"], s["mechanism"])
              != (row["source_place_id"], row["mechanism"])]  # fmt: skip
    others.sort(key=lambda s: float(s["margin_mm"]) if s["margin_mm"] else float("inf"))
    if others:
        yield 1, f"{len(others)} other waters get to it; the nearest to deciding:"
    for source in others[:_OTHERS_SHOWN]:
        margin = (
            f"{float(source['margin_mm']):+.0f} mm" if source["margin_mm"] else _no_margin(source)
        )
        yield (
            2,
            (
                f"{source['mechanism']} at {source['source_place_id']}: let in at "
                f"{metres_text(source['control_level_m'])}, {margin}, "
                f"{chance_text(source['chance_per_year'], source['chance_bound'])}"
            ),
        )
    if others:
        often = max(others, key=lambda s: float(s["chance_per_year"] or 0.0))
        if often not in others[:_OTHERS_SHOWN] and float(often["chance_per_year"] or 0.0) > 0.0:
            yield (
                2,
                (
                    f"the most frequent of them: {often['mechanism']} at "
                    f"{often['source_place_id']}, let in at "
                    f"{metres_text(often['control_level_m'])}, "
                    f"{chance_text(often['chance_per_year'], often['chance_bound'])}"
                ),
            )


def _how_far(flood: dict[str, str]) -> str:
    """That a water is not at the place itself, and how far away it stands."""
    metres = float(flood.get("distance_m") or 0.0)
    far = f"{metres:.0f} m away" if metres >= 1.0 else ""
    words = [*(["nearest water"] if flood["is_nearest"] == "True" else []), *filter(None, [far])]
    return f" ({', '.join(words)})" if words else ""


def _event(flood: dict[str, str]) -> str:
    """An event in words: a bare chance as 1 in so many years, any other name as it was given."""
    chance = float(flood["aep_per_year"] or 0.0)
    return chance_text(str(chance)) if flood["event"].endswith(" a year") else flood["event"]


def _events(run: RunFolder, place: str, mechanism: str = "") -> list[dict[str, str]]:
    """Water at a place, from the most frequent event to the rarest."""
    rows = run.rows("floods", place_id=place)
    rows = [r for r in rows if not mechanism or r["mechanism"] == mechanism]
    return sorted(rows, key=lambda r: (r["mechanism"], -float(r["aep_per_year"])))


def _way(run: RunFolder, row: dict[str, str]) -> Lines:
    dry = row["way"] == contract.NONE_FOUND and row["way_words"]
    more = "; the steps that come nearest to one, dry at the policy line" if dry else ""
    way = _BOTH if row["way"] == contract.BOTH_WAYS else row["way"]
    yield 0, f"The water's way: {way}{more}"
    for number, step in enumerate(filter(None, row["way_words"].split(" -> ")), start=1):
        yield 1, f"{number}. {step}"
    for place in filter(None, row["way_places"].split(" > ")):
        cover = run.one("levels", thing_kind="cover", thing_id=place)
        if cover is not None and cover["level_m"]:
            yield (
                1,
                f"cover of {place} {metres_text(cover['level_m'])}: {cover['path']} ({cover['cells']})",
            )
    for end in filter(None, [row["end_id"]]):
        links = [*run.rows("links", end_a_id=end), *run.rows("links", end_b_id=end)]
        for link in links:
            crest = metres_text(link["crest_level_m"])
            blocked = f", closed by {link['blocked_by']}" if link["blocked_by"] else ""
            yield (
                1,
                (
                    f"its duct {link['link_id']}: crest {crest}, proof "
                    f"{link['proof'] or 'none'}{blocked}{'; ' + link['note'] if link['note'] else ''}"
                ),
            )
    yield 1, f"let-in level {metres_text(row['let_in_level_m'])}{_let_in_by(run, row)}"
    yield (
        1,
        (
            f"water comes in {chance_text(row['onset_chance_per_year'], row['onset_bound'])}, over all "
            f"waters; chance that the let-in level lies below the design level: {_below(run, row)}"
        ),
    )


def _let_in_by(run: RunFolder, row: dict[str, str]) -> str:
    """What stands at the let-in level: the opening itself, a cover, or the ground at the wall."""
    if not row["let_in_level_m"]:
        return ""
    covers = run.rows("levels", thing_kind="cover", thing_id=row["source_place_id"])
    grounds = run.rows("ground", place_kind="building", place_id=row["source_place_id"])
    known = [
        (row["opening_level_m"], "its own level"),
        *((c["level_m"], f"the cover of {row['source_place_id']}") for c in covers),
        *(
            (g["ring_low_m"], "lowest ground of the ring at the wall, ground model")
            for g in grounds
        ),
    ]
    at = float(row["let_in_level_m"])
    words = [w for level, w in known if level and abs(float(level) - at) < _SAME_M]
    return f" ({words[0]})" if words else " (a crest on the way)"


def _no_margin(source: dict[str, str]) -> str:
    """Why a water has no margin: it is not known, it passes at any level, or it stays dry."""
    if source["source_id"].endswith(":not modelled"):
        return "not modelled in the design event (not the same as dry)"
    return "let in at any level" if source["water_level_m"] else "dry in the design event"


def _below(run: RunFolder, row: dict[str, str]) -> str:
    """The chance with the two doubts that it comes from."""
    if not row["chance_below_frac"]:
        return "not known"
    chance = float(row["chance_below_frac"])
    words = "under 0.1%" if 0.0 < chance < 0.001 else f"{chance:.1%}"
    for source in run.rows("reach_sources", opening_id=row["opening_id"]):
        same = (source["source_place_id"], source["mechanism"]) == (
            row["source_place_id"], row["mechanism"])  # fmt: skip
        if same and source["control_u_m"] and source["water_u_m"]:
            level, water = float(source["control_u_m"]), float(source["water_u_m"])
            return f"{words} (doubt of the level {level:.3f} m, of the water {water:.3f} m)"
    return words


def _change(row: dict[str, str]) -> Lines:
    """What would change the class, from the figures of the row."""
    yield 0, "What would change it"
    name = row["level_class"]
    if name == contract.NO_LEVEL:
        yield 1, "a level of this opening (a dip with the point it was measured from)"
        return
    if name == contract.NO_FLOOD:
        yield 1, "a flood level for the places named above"
        return
    if row["margin_mm"]:
        margin, limit = float(row["margin_mm"]), float(row["limit_mm"] or 0)
        if name == contract.ABOVE:
            yield (
                1,
                f"water {margin - limit:.0f} mm higher, or levels that much lower, clears it no more",
            )
        elif margin > limit:
            yield 1, "what the reason above names: its own margin and doubt would clear it"
        else:
            yield (
                1,
                (
                    f"a policy line or levels better by more than {limit - margin:.0f} mm "
                    f"({-margin:.0f} mm and the doubt of {limit:.0f} mm)"
                ),
            )
    if row["is_proved_way"] != "True":
        yield 1, "a proof of its duct (rodded, traced, light or dye seen)"
    if row["has_pedigree"] != "True":
        yield 1, "a level by a good method with its date"
    if row["is_sealable"] == "True" and name != contract.ABOVE:
        yield 1, "a seal that is accepted and rated for the head"


def _shifts(run: RunFolder, site: str) -> Lines:
    """What a common error of all levels of a site would change, and what a new survey is worth."""
    shifts = sorted(run.rows("site_shifts", site_id=site), key=lambda r: int(r["shift_mm"]))
    if shifts:
        yield 0, "If all its levels were wrong by one amount (openings that change class)"
        yield 1, ", ".join(f"{int(r['shift_mm']):+d} mm: {r['changed_count']}" for r in shifts)
    close = run.rows("resurvey", site_id=site)
    if close:
        yield 0, f"Another survey ({close[0]['method']})"
        count = "1 opening is" if len(close) == 1 else f"{len(close)} openings are"
        yield 1, f"{close[0]['advice']}; {count} too close to call"


def _site(run: RunFolder, an_id: str) -> Lines:
    row = run.one("sites", site_id=an_id) or {}
    openings = run.rows("reach", site_id=an_id)
    walls = [o for o in openings if o["opening_kind"] != "chamber end"]
    yield 0, f"{an_id}: {row['site_name'] or 'site'}, region {row['region'] or 'not given'}"
    yield 1, f"{len(walls)} openings into buildings: {classes_text(walls)}"
    yield from _policy(run, {"site_id": an_id})
    yield from closing_line_of(run, "site", an_id)
    yield from _shifts(run, an_id)
    for building in run.rows("buildings", site_id=an_id):
        choice = run.one("choices", building_id=building["building_id"])
        said = "" if choice is None else f": {choice['reason'] or choice['left_out_reason']}"
        yield 0, f"{building['building_id']}{said}"
    suspected = run.rows("suspects", site_id=an_id)
    if suspected:
        yield 0, "Its levels disagree; the numbers that best explain it"
        for one in suspected:
            yield 1, f"{one['words']} ({one['cell']})"
    yield from said_about(run, an_id)


def _entry(run: RunFolder, an_id: str) -> Lines:
    row = run.one("entries", entry_id=an_id) or {}
    yield 0, f"{an_id}: entry of building {row['building_id'] or 'not known'}, face {row['face']}"
    level = run.one("levels", thing_kind="entry", thing_id=an_id)
    if level is not None and level["level_m"]:
        yield (
            1,
            f"its lowest edge {metres_text(level['level_m'])}: {level['path']} ({level['cells']})",
        )
    ends = run.rows("reach", entry_id=an_id)
    yield 1, f"{len(ends)} openings in it: {classes_text(ends)}"
    for one in ends:
        yield 1, f"{one['opening_id']}: {one['level_class']}, {margin_text(one)}. {one['reason']}."
    yield from said_about(run, an_id)


def _chamber(run: RunFolder, an_id: str) -> Lines:
    row = run.one("chambers", chamber_id=an_id) or {}
    yield 0, f"{an_id}: chamber of site {row['site_id'] or 'not known'}"
    cover = run.one("levels", thing_kind="cover", thing_id=an_id)
    if cover is None or not cover["level_m"]:
        yield 1, "cover level not known: open at any water"
    else:
        yield 1, f"cover {metres_text(cover['level_m'])}: {cover['path']} ({cover['cells']})"
    for flood in _events(run, an_id):
        yield (
            1,
            (
                f"{flood['mechanism']} {_event(flood)}: {flood['answer']}, "
                f"{metres_text(flood['level_m'])}{_how_far(flood)}, {flood['origin']}"
            ),
        )
    for one in run.rows("reach", chamber_id=an_id):
        yield 1, f"{one['opening_id']}: {one['level_class']}, {margin_text(one)}"
    yield from said_about(run, an_id)

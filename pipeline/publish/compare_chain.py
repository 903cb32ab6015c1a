"""From input changes to what depends on them, along the chain of the hand-over tables.

A row that differs depends on the inputs that go into it themselves, and on whatever the rows that
it is made from depend on. Where several inputs lead to a row all are named. A row to which no way
is found falls back to what differs at its site, then in its region, then to every input.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from pipeline.publish.compare_folder import SURVEY, Cells, Row, Run, differing, enriched
from pipeline.publish.compare_inputs import Change, input_changes
from pipeline.publish.compare_touch import CHOSEN, COST, COST_SUM, POSITION
from pipeline.tables import REGISTRY

FOLLOWED: Final = "followed"
BY_SITE: Final = "by its site"
BY_REGION: Final = "by its region"
NOT_FOLLOWED: Final = "any input that differs"

# a cell of the survey that describes, and moves no level
_NO_LEVEL: Final = frozenset(
    {
        "site_name", "owner", "other_numbers", "customers_count", "key_customers", "backfeed",
        "repair_days", "permit_kind", "permit_lead_days", "outage_needed", "survey_state",
        "flood_history", "gas_note", "contents", "draw_cord", "duct_use", "seen", "seal_from",
        "far_place_id", "far_end_id", "far_proof", "flap", "clear_depth_mm", "equipment_above_floor_m",
        "sump_pump", "wall_build", "floor_build", "wall_thick_mm", "asbestos_suspect", "fire_wall",
        "photo_id", "leads_to", "front_space_mm", "confined_space", "entered", "works_since",
        "design_event", "freeboard_m", "critical_class", "fed_from_site_id", "floor_area_m2",
        "max_head_m", "max_head_by", "tanked", "material", "built_year",
    }
)  # fmt: skip
# a cell of the survey that makes a level, and no quantity of itself
_LEVEL_CELLS: Final = frozenset(
    {
        "level_method", "level_m", "ref_point_id", "dip_down_m", "above_m", "measured_to",
        "level_u_m", "invert_level_m", "check_point_id", "check_dip_down_m", "dip_from",
    }
)  # fmt: skip
_POLICY: Final = frozenset({"critical_class", "design_event", "freeboard_m"})
_WATER_ENDS: Final = "building_id|chamber_id|way_places|source_place_id"
# columns of packages that only costs and ends make; the rest comes from water, loss and ends
_COSTS: Final = COST | frozenset({"end_ids", "ends_count"})
_GAINS: Final = frozenset(REGISTRY["packages"].names) - COST
# columns of designs that water reaches itself; quantities follow only where one of `_BY_WATER`
# differs too, because they know of the water by these alone
_BY_WATER: Final = frozenset(
    {"is_needed", "is_designed", "hold_reach", "hold_codes", "firmness", "layer_mm", "seal_from",
     "arrangement", "old_seal"}
)  # fmt: skip
_QUANTITY: Final = frozenset(
    {"free_area_mm2", "allowance_frac", "sealant_ml", "sealant_p90_ml", "sleeves_words",
     "sleeves_count", "collars_count", "filler_length_mm", "bonded_perimeter_mm", "free_circle_mm",
     "cables_area_mm2", "opening_area_mm2", "shape", "bore_mm", "bore_b_mm"}
)  # fmt: skip
_WATER: Final = frozenset(REGISTRY["designs"].names) - _QUANTITY
_DRAWN: Final = _QUANTITY | _BY_WATER


@dataclass(frozen=True)
class Edge:
    """Rows of `child` depend on rows of `parent` that share a value.

    `by` names columns of the child and, after '=', of the parent; '|' joins columns of which any
    may match, '+' columns that must match together.
    """

    child: str
    by: str
    parent: str
    columns: frozenset[str] = frozenset()
    parent_columns: frozenset[str] = frozenset()
    without: frozenset[str] = frozenset()


def _reach_edges(child: str, opening: str) -> tuple[Edge, ...]:
    own = f"{opening}|end_id|entry_id"
    return (
        Edge(child, f"{own}|{_WATER_ENDS}=thing_id", "levels"),
        Edge(child, f"{_WATER_ENDS}=place_id", "floods"),
        Edge(child, f"{own}=end_a_id|end_b_id", "links"),
        Edge(child, "site_id=site_id", "policies"),
        Edge(child, f"{own}=end_id", "ends"),
        Edge(child, f"{own}=entry_id", "entries"),
        Edge(child, "building_id=building_id", "buildings"),
        Edge(child, "chamber_id|way_places=chamber_id", "chambers"),
        Edge(child, f"{own}=end_id|entry_id", "seals"),
        Edge(child, f"{_WATER_ENDS}=place_id", "ground"),
    )


EDGES: Final[tuple[Edge, ...]] = (
    Edge("levels", "thing_id=place_id", "ends", without=_NO_LEVEL),
    Edge("ground", "place_id=chamber_id", "chambers", parent_columns=POSITION),
    Edge("ground", "place_id=building_id", "buildings", parent_columns=POSITION),
    Edge("ground", "place_id=site_id", "sites", parent_columns=POSITION),
    Edge("floods", "place_id=chamber_id", "chambers", without=frozenset({"owner", "kind"})),
    Edge("floods", "place_id=building_id", "buildings", parent_columns=POSITION),
    Edge("floods", "site_id=site_id", "sites", parent_columns=POSITION),
    Edge("floods", "flood_id=flood_id", "flood_levels"),
    Edge("floods", "place_id|site_id=applies_to", "flood_levels"),
    Edge("floods", "place_id=place_id", "observations"),
    Edge("floods", "place_id=place_id", "ground"),
    Edge("floods", "place_id=thing_id", "levels"),
    Edge("policies", "site_id=site_id", "sites", parent_columns=_POLICY),
    Edge("links", "end_a_id|end_b_id=end_id", "ends"),
    Edge("links", "end_a_id|end_b_id=end_id", "cables"),
    Edge("links", "end_a_id|end_b_id|place_a_id=end_id|entry_id", "seals"),
    Edge("links", "end_a_id|end_b_id=thing_id", "levels"),
    Edge("links", "place_a_id|place_b_id=entry_id", "entries"),
    Edge("links", "place_a_id|place_b_id=chamber_id", "chambers"),
    *_reach_edges("reach_sources", "opening_id"),
    *_reach_edges("reach", "opening_id"),
    Edge("reach", "opening_id=opening_id", "reach_sources"),
    Edge("designs", "end_id=opening_id|end_id", "reach", columns=_WATER),
    Edge("designs", "end_id=end_id", "ends", columns=_WATER),
    Edge("designs", "end_id=end_id", "ends", columns=_QUANTITY, without=_LEVEL_CELLS),
    Edge("designs", "end_id=end_id", "cables"),
    Edge("designs", "end_id|place_id=end_id|entry_id", "seals"),
    Edge("designs", "place_id|end_id=entry_id", "entries"),
    Edge("designs", "place_id=chamber_id", "chambers"),
    Edge("designs", "building_id=building_id", "buildings"),
    Edge("designs", "site_id=site_id", "sites"),
    Edge("designs", "end_id|place_id=thing_id", "levels", columns=_WATER),
    Edge("designs", "end_id=end_a_id|end_b_id", "links", columns=_WATER),
    Edge("designs", "building_id|place_id=place_id", "floods", columns=_WATER),
    Edge("pieces", "end_id=end_id", "designs", parent_columns=_DRAWN),
    Edge("pieces", "end_id=end_id", "ends", without=_LEVEL_CELLS),
    Edge("pieces", "end_id=end_id", "cables"),
    Edge("packages", "building_id=building_id", "reach", columns=_GAINS),
    Edge("packages", "end_ids=end_id", "designs", _COSTS, _DRAWN | {"hours_h"}),
    Edge("packages", "end_ids=end_id", "pieces", columns=_COSTS),
    Edge("packages", "building_id=building_id", "designs", _GAINS, _WATER - {"hours_h"}),
    Edge("packages", "building_id=building_id", "buildings", columns=_GAINS),
    Edge("packages", "site_id=site_id", "sites", columns=_GAINS),
    Edge("packages", "building_id=place_id", "floods", columns=_GAINS),
    Edge("packages", "building_id=thing_id", "levels", columns=_GAINS),
    Edge("packages", "site_id=site_id", "policies", columns=_GAINS),
    Edge("choices", "building_id=building_id", "packages"),
    Edge("choices", "region=region", "packages", columns=CHOSEN - {"rank"}),
    Edge("choices", "=", "packages", columns=frozenset({"rank"})),
    Edge("choices", "building_id=building_id", "reach"),
    Edge("choices", "building_id=building_id", "designs"),
    Edge("choices", "site_id=site_id", "sites"),
    Edge("plans", "region=region", "packages"),
    Edge("plans", "region=region", "choices", parent_columns=CHOSEN - {"rank", "reason"}),
    Edge("crew_days", "building_ids=building_id", "choices"),
    Edge("crew_days", "region=region", "choices", parent_columns=CHOSEN - {"reason"}),
    Edge("crew_days", "region=region", "designs", parent_columns=frozenset({"hours_h"})),
    Edge("crew_days", "end_ids=end_id", "designs"),
    Edge("crew_days", "region=region", "sites"),
    Edge("closing_lines", "place_id=building_id|site_id", "reach"),
    Edge("closing_lines", "place_id=building_id|site_id", "designs"),
    Edge("closing_lines", "end_ids=end_id", "designs"),
    Edge("closing_lines", "end_ids=end_id", "pieces"),
    Edge("closing_lines", "site_id=site_id", "links"),
    Edge("closing_lines", "site_id=site_id", "policies"),
    Edge("needs", "end_ids+item_id=end_id+item_id", "pieces"),
    Edge("needs", "end_ids=end_id", "designs", parent_columns=_DRAWN),
    Edge("needs", "site_id=site_id", "choices", parent_columns=CHOSEN - {"rank", "reason"}),
    Edge("needs", "region=region", "crew_days"),
    Edge("order_lines", "region+item_id=region+item_id", "needs"),
    Edge("open_risks", "region+item_id=region+item_id", "order_lines"),
    Edge("open_risks", "subject=end_id", "designs"),
    Edge("open_risks", "subject=building_id", "choices"),
    Edge("open_risks", "subject=building_id", "packages"),
    Edge("ingress", "opening_id=opening_id", "reach"),
    Edge("ingress", "opening_id=end_id", "ends"),
    Edge("ingress", "opening_id=end_id", "cables"),
    Edge("ingress", "opening_id=end_a_id|end_b_id", "links"),
    Edge("filling", "building_id=building_id", "ingress"),
    Edge("filling", "building_id=building_id", "reach"),
    Edge("filling", "building_id=building_id", "buildings"),
    Edge("filling", "building_id=thing_id", "levels"),
    Edge("resurvey", "opening_id=opening_id", "reach"),
    Edge("resurvey", "opening_id=end_id", "designs"),
    Edge("resurvey", "opening_id=end_id", "pieces"),
    Edge("resurvey", "site_id=site_id", "resurvey"),
    Edge("site_shifts", "site_id=site_id", "reach"),
)

# within a row: these columns follow from those
_WITHIN: Final[dict[str, tuple[tuple[frozenset[str], frozenset[str]], ...]]] = {
    "designs": ((_QUANTITY, _BY_WATER),),
    "packages": (
        (COST, frozenset({"end_ids"})),
        (COST_SUM, COST | frozenset({"end_ids", "pv_avoided_minor"})),
    ),
    "choices": (
        (
            frozenset({"cost_minor", "crew_days", "pv_avoided_minor", "ratio", "reason"}),
            frozenset({"package_id", "year", "is_chosen"}),
        ),
    ),
}

ORDER: Final = (
    *SURVEY, "policies", "ground", "levels", "floods", "links", "reach_sources", "reach",
    "designs", "pieces", "closing_lines", "packages", "choices", "plans", "crew_days", "needs",
    "order_lines", "open_risks", "ingress", "filling", "resurvey", "site_shifts",
)  # fmt: skip

_LEVELLED: Final = ("ends", "entries", "chambers", "buildings")
# rows of the survey that a level is worked out over: column -> table
_UP: Final = {
    "place_id": ("entries", "chambers"), "building_id": ("buildings",), "visit_id": ("visits",),
    "ref_point_id": ("points", "chambers", "buildings"), "cover_point_id": ("points",),
    "floor_point_id": ("points",), "from_point_id": ("points",), "check_point_id": ("points",),
    "parent_end_id": ("ends",),
}  # fmt: skip


class Chain:
    """Differing rows of two runs, each with the inputs that it may depend on.

    Parameters
    ----------
    old, new : Run

    Attributes
    ----------
    changes : list of Change
        The inputs that differ; bit n of a row's `causes` stands for change n.
    rows : dict of str to list of Row
        Differing rows by table, in the order of their keys.
    """

    def __init__(self, old: Run, new: Run) -> None:
        self.runs = (old, new)
        self.rows: dict[str, list[Row]] = {
            t: list(enriched(differing(old, new, t), old, new)) for t in ORDER
        }
        self.changes: list[Change] = input_changes(old, new, self.rows)
        self._index: dict[tuple[str, str], dict[tuple[str, ...], list[Row]]] = {}
        self._by_key = {t: {r.key: r for r in self.rows[t]} for t in SURVEY}
        self._survey = [{t: run.rows(t) for t in SURVEY} for run in self.runs]
        self._edges: dict[str, list[Edge]] = {}
        for edge in EDGES:
            self._edges.setdefault(edge.child, []).append(edge)
        for table in ORDER:
            for row in self.rows[table]:
                if table not in SURVEY:
                    self._follow(row)
                self._fall_back(row)

    def leads_to(self, number: int) -> dict[str, int]:
        """How many rows of each table may depend on an input."""
        bit = 1 << number
        counts = {t: sum(bool(r.bits & bit) for r in self.rows[t]) for t in ORDER}
        return {t: n for t, n in counts.items() if n}

    def numbers(self, row: Row) -> list[int]:
        """Numbers of the inputs that a row may depend on."""
        bits = row.bits
        return [n for n in range(len(self.changes)) if bits >> n & 1]

    def _follow(self, row: Row) -> None:
        causes = dict.fromkeys(row.columns, 0)
        for n, change in enumerate(self.changes):
            for one in change.touches:
                for column in one.reaches(row):
                    causes[column] |= 1 << n
        for edge in self._edges.get(row.table, ()):
            reached = [c for c in row.columns if not edge.columns or c in edge.columns]
            bits = _joined(self._parents(row, edge), edge) if reached else 0
            for column in reached:
                causes[column] |= bits
        if row.table in ("levels", "reach", "reach_sources"):
            bits = self._survey_bits(row) if row.table == "levels" else self._way_bits(row)
            causes = {c: b | bits for c, b in causes.items()}
        row.causes = causes
        _within(row)

    def _parents(self, row: Row, edge: Edge) -> Iterator[Row]:
        mine, _, theirs = edge.by.partition("=")
        if not mine:
            yield from self.rows[edge.parent]
            return
        index = self._indexed(edge.parent, theirs)
        seen: set[tuple[str, ...]] = set()
        for value in _joins(row, mine):
            for parent in index.get(value, ()):
                if parent.key not in seen:
                    seen.add(parent.key)
                    yield parent

    def _indexed(self, table: str, by: str) -> Mapping[tuple[str, ...], list[Row]]:
        if (table, by) not in self._index:
            index: dict[tuple[str, ...], list[Row]] = {}
            for row in self.rows[table]:
                for value in _joins(row, by):
                    index.setdefault(value, []).append(row)
            self._index[table, by] = index
        return self._index[table, by]

    def _survey_bits(self, row: Row) -> int:
        """Inputs behind the rows of the survey that a level is worked out over."""
        bits = 0
        for survey in self._survey:
            begin = [(t, row.either["thing_id"]) for t in _LEVELLED]
            for table, thing in _upward(survey, begin):
                changed = self._by_key[table].get((thing,))
                for column, more in (changed.causes if changed else {}).items():
                    bits |= 0 if column in _NO_LEVEL else more
        return bits

    def _way_bits(self, row: Row) -> int:
        """Inputs behind the links that a way goes over: both their places are on it."""
        on_way: set[str] = set()
        for column in ("way_places", "source_place_id", "entry_id", "chamber_id", "building_id"):
            on_way |= row.values(column)
        said = " ".join(row.pair("way_words"))
        index = self._indexed("links", "place_a_id|place_b_id")
        bits = 0
        for place in on_way:
            for link in index.get((place,), ()):
                places = link.values("place_a_id") | link.values("place_b_id")
                # a duct beside the opening's own, through the same wall, is not on its way
                beside = places & row.values("entry_id") and not _shares(link, row)
                if link.key[0] in said or (places <= on_way and not beside):
                    bits |= link.bits
        return bits

    def _fall_back(self, row: Row) -> None:
        row.followed = FOLLOWED
        if row.bits:
            return
        sites = row.values("site_id") | row.values("site_ids")
        tiers = (("site_id", sites, BY_SITE), ("region", row.values("region"), BY_REGION))
        for column, values, words in tiers:
            bits = self._near(column, values, ORDER[: ORDER.index(row.table) + 1])
            if bits:
                row.causes, row.followed = dict.fromkeys(row.columns, bits), words
                return
        able = sum(1 << n for n, change in enumerate(self.changes) if not change.note)
        row.causes = dict.fromkeys(row.columns, able)
        row.followed = NOT_FOLLOWED

    def _near(self, column: str, values: Iterable[str], tables: Iterable[str]) -> int:
        bits = 0
        for table in tables:
            index = self._indexed(table, column)
            for value in values:
                for other in index.get((value,), ()):
                    bits |= other.bits
        return bits


def _shares(link: Row, row: Row) -> bool:
    mouths = link.values("end_a_id") | link.values("end_b_id")
    return bool(mouths & (row.values("opening_id") | row.values("end_id")))


def _upward(
    survey: Mapping[str, Mapping[tuple[str, ...], Cells]], begin: Sequence[tuple[str, str]]
) -> set[tuple[str, str]]:
    """Rows of the survey that these rows refer to, and those that they refer to, and so on."""
    open_rows, seen = list(begin), set(begin)
    while open_rows:
        table, thing = open_rows.pop()
        cells = survey[table].get((thing,), {})
        for column, tables in _UP.items():
            for up in ((t, cells.get(column, "")) for t in tables):
                if up[1] and up not in seen:
                    seen.add(up)
                    open_rows.append(up)
    return seen


def _within(row: Row) -> None:
    """Columns of a row that follow from others of the same row."""
    for after, before in _WITHIN.get(row.table, ()):
        bits = 0
        for column in before & row.causes.keys():
            bits |= row.causes[column]
        for column in after & row.causes.keys():
            row.causes[column] |= bits


def _joins(row: Row, by: str) -> Iterator[tuple[str, ...]]:
    for part in by.split("|"):
        values: list[tuple[str, ...]] = [()]
        for column in part.split("+"):
            own = sorted(row.values(column))
            values = [(*v, o) for v in values for o in own]
        yield from values


def _joined(parents: Iterable[Row], edge: Edge) -> int:
    bits = 0
    for parent in parents:
        for column, more in parent.causes.items():
            if edge.parent_columns and column not in edge.parent_columns:
                continue
            if column not in edge.without:
                bits |= more
    return bits


def names(changes: Sequence[Change], numbers: Sequence[int], *, most: int = 3) -> str:
    """The inputs of these numbers in words; more than `most` are counted."""
    words = [f"{n + 1}: {changes[n].words}" for n in numbers[:most]]
    rest = len(numbers) - most
    return "; ".join(words) + (f"; and {rest} more" if rest > 0 else "")


__all__ = ["BY_REGION", "BY_SITE", "FOLLOWED", "NOT_FOLLOWED", "ORDER", "Chain", "Edge", "names"]

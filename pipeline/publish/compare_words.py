"""Words and sums of a comparison: what a row was and is, and totals before and after."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from pipeline.core.money import words as money
from pipeline.publish.compare_chain import FOLLOWED, ORDER, Chain
from pipeline.publish.compare_folder import RECORDS, Row, Run, differing
from pipeline.tables import REGISTRY

PLURALS: Final = {
    "levels": "levels", "floods": "flood levels", "policies": "policies", "links": "links",
    "reach": "openings", "designs": "ends", "closing_lines": "closing lines",
    "packages": "package steps", "choices": "buildings", "plans": "regional plans",
    "crew_days": "crew days", "needs": "needs", "order_lines": "order lines",
    "open_risks": "open risks", "ingress": "flows", "filling": "filling times",
    "resurvey": "lines of re-survey advice", "site_shifts": "site shifts",
}  # fmt: skip
_LONGEST: Final = 110
_LABEL: Final = {
    "level_class": "class", "let_in_level_m": "let-in level", "policy_level_m": "policy line",
    "pv_avoided_minor": "loss avoided (present value)", "ratio": "loss avoided over cost",
    "hold_reach": "hold", "is_needed": "to be sealed", "hours_h": "crew hours",
    "order_latest": "latest order date",
}  # fmt: skip
_CHOICE: Final = ("cost_minor", "pv_avoided_minor", "ratio")
DIFFERENT_FILES: Final = (
    "The same inputs by their sums, yet tables differ: the folders were changed after the run, or "
    "the runs were made by different builds of the program."
)
# tables beside the chain; where a cell stood, or sums of other tables, need no listing
_NO_LISTING: Final = frozenset(
    {*ORDER, *RECORDS, "abouts", "columns", "counts", "answers", "changes", "findings", "photos",
     "gps_points", "placements", "way_edges", "way_waters", "flood_nodes", "flood_polygons",
     "flood_domains", "regions", "footprints"}
)  # fmt: skip


def count_words(count: int, table: str) -> str:
    """How many of what: '1 opening', '3 policies'."""
    plural = PLURALS[table]
    odd = {"policies": "policy", "resurvey": "line of re-survey advice"}
    one = odd.get(table, plural.removesuffix("s"))
    return f"{count} {one if count == 1 else plural}"


def because(chain: Chain, row: Row, *, most: int = 4) -> str:
    """Numbers of the inputs that a row depends on, and how they were found."""
    numbers = chain.numbers(row)
    if not numbers:
        return "no input that is recorded"
    told = ", ".join(str(n + 1) for n in numbers[:most])
    more = f" and {len(numbers) - most} more" if len(numbers) > most else ""
    either = "one or more of " if len(numbers) > 1 else ""
    how = "" if row.followed == FOLLOWED else f" ({row.followed})"
    return f"{either}{told}{more}{how}"


def short(text: str) -> str:
    """A value as people read it: numbers without float noise, blank as 'blank', text as text."""
    if not text:
        return "blank"
    try:
        return f"{float(text):.6g}"
    except ValueError:
        return "".join(c if c.isprintable() else "\ufffd" for c in text)


def step(row: Row) -> str:
    """What became of a building in the choice: in, out, step, year or rank."""
    before, after = row.pair("is_chosen")
    if before != after:
        return "in" if after == "True" else "out"
    if after != "True":
        return "stays out"
    told = [
        f"{word} {short(one)} -> {short(other)}"
        for word, (one, other) in (
            ("step", tuple(p.rpartition("/")[2] for p in row.pair("package_id"))),
            ("year", row.pair("year")),
            ("rank", row.pair("rank")),
        )
        if one != other
    ]
    return ", ".join(told) or "stays in"


def row_words(row: Row, currency: str) -> str:
    """One differing row in a line for the screen."""
    name = " ".join(row.key)
    if row.old is None or row.new is None:
        return f"{name}: {'new' if row.old is None else 'gone'}"
    if row.table == "choices":
        told = [_part(row, c, currency) for c in _CHOICE if c in row.columns]
        now = row.pair("left_out_reason")
        if now[0] != now[1] and now[1]:
            told.append(_cut(f"now {now[1]}"))
        words = [] if told else [f"other columns: {', '.join(row.columns)}"]
        return f"{name}: {'; '.join([step(row), *told, *words])}"
    columns = {
        "reach": ("level_class", "margin_mm", "let_in_level_m", "policy_level_m", "way"),
        "designs": ("is_needed", "firmness", "hold_reach", "sealant_ml", "sleeves_words",
                    "layer_mm", "hours_h", "design_head_m"),
        "order_lines": ("supplier_id", "pieces_needed_count", "packs_count", "pack_price_minor", "line_minor",
                        "order_latest"),
    }.get(row.table, row.columns)  # fmt: skip
    parts = [_part(row, c, currency) for c in columns if c in row.columns]
    rest = [c for c in row.columns if c not in columns]
    if not parts:
        parts = [f"other columns: {', '.join(rest[:4])}"]
    return f"{name}: {'; '.join(parts)}"


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."


def _part(row: Row, column: str, currency: str) -> str:
    label, unit = column, ""
    for ending in ("_minor", "_count", "_mm", "_m", "_ml", "_h", "_id", "_words"):
        if column.endswith(ending):
            label = column.removesuffix(ending)
            unit = f" {ending[1:]}" if ending in ("_mm", "_m", "_ml", "_h") else ""
            break
    label = _LABEL.get(column, label.replace("_", " "))
    if column.endswith("_minor"):
        return f"{label} {_money(row, column, currency)}"
    one, other = row.pair(column)
    return f"{label} {short(one)} -> {short(other)}{unit}"


def _money(row: Row, column: str, currency: str) -> str:
    one, other = row.pair(column)
    if one == other:
        return ""
    return " -> ".join(money(int(float(v)), currency) if v else "none" for v in (one, other))


def currency_of(run: Run) -> str:
    """Currency of a run."""
    return str(run.record.get("settings", {}).get("programme", {}).get("currency", ""))


@dataclass(frozen=True)
class Total:
    """A sum before and after (minor units), of all regions or one."""

    what: str
    region: str
    old: int
    new: int
    currencies: tuple[str, str]


_SUMS: Final = (
    ("Cost of the works chosen", "choices", "cost_minor"),
    ("Loss avoided by them, present value", "choices", "pv_avoided_minor"),
    ("Orders (drafts)", "order_lines", "line_minor"),
)


def totals(old: Run, new: Run) -> Iterator[Total]:
    """Sums of what was chosen and ordered, of all regions and of each."""
    currencies = (currency_of(old), currency_of(new))
    for what, table, column in _SUMS:
        sums = [_by_region(run, table, column) for run in (old, new)]
        yield Total(what, "", sum(sums[0].values()), sum(sums[1].values()), currencies)
        for region in sorted(sums[0].keys() | sums[1].keys()):
            yield Total(what, region, sums[0].get(region, 0), sums[1].get(region, 0), currencies)


def _by_region(run: Run, table: str, column: str) -> dict[str, int]:
    out: dict[str, int] = {}
    for row in run.table(table).to_dict("records"):
        if row.get("is_chosen", "True") == "True" and row[column]:
            out[row["region"]] = out.get(row["region"], 0) + int(float(row[column]))
    return out


def unlisted(old: Run, new: Run) -> dict[str, int]:
    """Rows that differ in tables beside the chain: counted, not followed to an input."""
    found = {
        name: len(differing(old, new, name))
        for name in sorted(REGISTRY)
        if name not in _NO_LISTING and REGISTRY[name].key
    }
    return {name: n for name, n in found.items() if n}


__all__ = [
    "DIFFERENT_FILES", "PLURALS", "Total", "because", "count_words", "currency_of", "row_words", "short", "step",
    "totals", "unlisted",
]  # fmt: skip

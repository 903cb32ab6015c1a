"""What stands on the case of a site: every figure with the table and column that it is read from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.curves import encounter_frac
from pipeline.core.money import about
from pipeline.core.settings import Settings
from pipeline.tables import Tables

Row = dict[str, Any]
NOT_KNOWN: Final = "not known"
OPTIONS_SHOWN: Final = 4
_GAINS: Final = ("benefit", "up to", "benefit unknown")
_LONGEST: Final = 150
_NAMES: Final = 3
_SAME_M: Final = 5e-4


@dataclass(frozen=True)
class Fact:
    """One line of a case: part, label, one text per building, and where it is read from."""

    part: str
    label: str
    texts: tuple[str, ...]
    where: str


@dataclass(frozen=True)
class SiteCase:
    """The case of one site: its row, its buildings, the lines."""

    site: Row
    buildings: tuple[str, ...]
    facts: tuple[Fact, ...]


class _Reader:
    """Looks up rows of the tables by building and site."""

    def __init__(self, tables: Tables, settings: Settings) -> None:
        self.settings, self.currency = settings, settings.programme.currency
        self.packages = _grouped(tables["packages"].sort_values("package_id"), "building_id")
        self.choices = {k: v[0] for k, v in _grouped(tables["choices"], "building_id").items()}
        lines = tables["closing_lines"]
        self.lines = {
            k: v[0] for k, v in _grouped(lines[lines["kind"] == "building"], "place_id").items()
        }
        self.cases = _grouped(tables["rank_cases"], "building_id")
        reach = tables["reach"]
        self.openings = _grouped(reach[reach["opening_kind"] != "chamber end"], "building_id")
        self.filling = {k: v[0] for k, v in _grouped(tables["filling"], "building_id").items()}
        self.days = _grouped(tables["crew_days"], "site_id")
        self.findings = _grouped(tables["findings"], "site_id")

    def package(self, building: str) -> Row | None:
        """The package that the case is about: the chosen one, else the largest that gains."""
        mine = self.packages.get(building, [])
        chosen = self.choices.get(building, {}).get("package_id")
        for p in mine:
            if p["package_id"] == chosen:
                return p
        gaining = [p for p in mine if p["gain"] in _GAINS]
        ordered = sorted(gaining or mine, key=lambda p: int(p["step_no"]))
        return ordered[-1] if ordered else None

    def money(self, amount: Any) -> str:
        """An amount in whole currency units."""
        return NOT_KNOWN if pd.isna(amount) else about(int(amount), self.currency)

    def series(self, amounts: list[Any], between: str = " / ") -> str:
        """Several amounts, the currency once at the end."""
        texts = [self.money(a) for a in amounts]
        return between.join([*(t.removesuffix(f" {self.currency}") for t in texts[:-1]), texts[-1]])


def site_cases(tables: Tables, settings: Settings) -> list[SiteCase]:
    """The cases of all sites, in order of rank, then of id.

    Parameters
    ----------
    tables : Tables
        Tables of a whole run.
    settings : Settings

    Returns
    -------
    list of SiteCase
    """
    reader = _Reader(tables, settings)
    by_site = _grouped(tables["buildings"].sort_values("building_id"), "site_id")
    out = []
    for site in tables["sites"].sort_values("site_id").to_dict("records"):
        buildings = tuple(str(b["building_id"]) for b in by_site.get(str(site["site_id"]), []))
        if buildings:
            out.append(SiteCase(site, buildings, _facts(reader, site, buildings)))
    return sorted(out, key=lambda c: (_first_rank(reader, c.buildings), str(c.site["site_id"])))


def _grouped(frame: pd.DataFrame, name: str) -> dict[str, list[Row]]:
    out: dict[str, list[Row]] = {}
    for row in pd.DataFrame(frame).to_dict("records"):
        if not pd.isna(row[name]):
            out.setdefault(str(row[name]), []).append(row)
    return out


def _first_rank(reader: _Reader, buildings: tuple[str, ...]) -> int:
    ranks = [reader.choices[b]["rank"] for b in buildings if b in reader.choices]
    return min((int(r) for r in ranks if not pd.isna(r)), default=10**9)


def _facts(reader: _Reader, site: Row, buildings: tuple[str, ...]) -> tuple[Fact, ...]:
    packages = [reader.package(b) for b in buildings]
    parts = [
        *_decision(reader, buildings, packages),
        *_water(reader, packages),
        *_loss(reader, packages),
        *_options(reader, buildings),
        *_works(reader, packages),
        *_after(reader, packages),
        *_doubts(reader, site, buildings, packages),
        *_dates(reader, site, buildings),
    ]
    return tuple(f for f in parts if any(t not in ("", "-") for t in f.texts))


def _each(rows: list[Row | None], text: Any) -> tuple[str, ...]:
    return tuple("-" if r is None else text(r) for r in rows)


def _decision(
    reader: _Reader, buildings: tuple[str, ...], packages: list[Row | None]
) -> list[Fact]:
    part = "Proposal"

    def rank(b: str) -> str:
        row = reader.choices.get(b)
        if row is None or not row["is_chosen"]:
            return "not in the programme"
        return f"rank {int(row['rank'])}, budget year {int(row['year'])}"

    def why(b: str) -> str:
        row = reader.choices.get(b)
        return "" if row is None or row["is_chosen"] else _short(row["left_out_reason"])

    return [
        Fact(part, "In the programme", tuple(rank(b) for b in buildings), "choices: rank, year"),
        Fact(
            part, "Left out because", tuple(why(b) for b in buildings), "choices: left_out_reason"
        ),
        Fact(
            part,
            "Package this case is about",
            _each(packages, lambda p: str(p["package_id"])),
            "packages: package_id (the row of all figures below)",
        ),
        Fact(
            part,
            "Rank in the low and high cases",
            tuple(_ranks(reader.cases.get(b, [])) for b in buildings),
            "rank_cases: rank",
        ),
    ]


def _ranks(rows: list[Row]) -> str:
    inside = [int(r["rank"]) for r in rows if not pd.isna(r["rank"])]
    if not inside:
        return "in no case"
    span = f"{min(inside)}" if min(inside) == max(inside) else f"{min(inside)} to {max(inside)}"
    return f"{span}; chosen in {len(inside)} of {len(rows)} cases"


def _water(reader: _Reader, packages: list[Row | None]) -> list[Fact]:
    part = "What floods, and how often"
    years = reader.settings.value.life_years

    def in_life(p: Row) -> str:
        chance = p["before_chance_per_year"]
        if pd.isna(chance):
            return NOT_KNOWN
        return f"{float(encounter_frac([chance], years)[0]):.0%} in {years} years"

    return [
        Fact(part, "Water first gets in by", _each(packages, lambda p: _first_gate(reader, p)),
             "reach: let_in_level_m"),
        Fact(part, "Outside water at which it gets in", _each(packages, lambda p: _level(p["before_level_m"])),
             "packages: before_level_m"),
        Fact(part, "Chance a year as found", _each(packages, lambda p: _chance(p, "before")),
             "packages: before_chance_per_year, before_bound"),
        Fact(part, "At least once in the life", _each(packages, in_life),
             "1 - (1 - chance a year)^years"),
    ]  # fmt: skip


def _first_gate(reader: _Reader, package: Row) -> str:
    """The openings that stand at the onset level."""
    level = package["before_level_m"]
    if pd.isna(level):
        return NOT_KNOWN
    names = [
        f"{r['opening_id']} ({r['opening_kind']})"
        for r in reader.openings.get(str(package["building_id"]), [])
        if not pd.isna(r["let_in_level_m"]) and abs(r["let_in_level_m"] - level) < _SAME_M
    ]
    return ", ".join(names[:_NAMES]) + (
        f" and {len(names) - _NAMES} more" if len(names) > _NAMES else ""
    )


def _loss(reader: _Reader, packages: list[Row | None]) -> list[Fact]:
    part = "What is lost"
    return [
        Fact(part, "Once water is inside", _each(packages, lambda p: reader.money(p["loss_once_minor"])),
             "packages: loss_once_minor"),
        Fact(part, "Customers counted here",
             _each(packages, lambda p: NOT_KNOWN if pd.isna(p["customers_count"]) else f"{int(p['customers_count']):,}"),
             "packages: customers_count"),
        Fact(part, "Expected loss a year if nothing is done",
             _each(packages, lambda p: reader.money(p["loss_before_minor_per_year"])),
             "packages: loss_before_minor_per_year"),
    ]  # fmt: skip


def _options(reader: _Reader, buildings: tuple[str, ...]) -> list[Fact]:
    part = "Options"
    most = max((len(reader.packages.get(b, [])) for b in buildings), default=0)
    facts = []
    for step in range(1, min(most, OPTIONS_SHOWN) + 1):
        texts = []
        for b in buildings:
            mine = [p for p in reader.packages.get(b, []) if int(p["step_no"]) == step]
            texts.append(_option(reader, mine[0]) if mine else "")
        facts.append(Fact(part, f"Seal, step {step}", tuple(texts), f"packages, step {step}"))
    facts.append(
        Fact(
            part,
            "Cheapest closing line",
            tuple(_line(reader, reader.lines.get(b)) for b in buildings),
            "closing_lines: ends_count, cost_minor",
        )
    )
    if most:
        facts.append(
            Fact(
                part,
                "Raise equipment, barrier, pump, move",
                tuple("not worked out here; the owner's engineer adds it" for _ in buildings),
                "no table",
            )
        )
    return facts


def _line(reader: _Reader, line: Row | None) -> str:
    """The cheapest closing line; one of no ends that leaves ways open shuts nothing off."""
    if line is None or pd.isna(line["ends_count"]):
        return ""
    count = int(line["ends_count"])
    leaves_open = not pd.isna(line["cannot_close"])
    if not count and leaves_open:
        return f"{NOT_KNOWN}: every way in is held or takes no seal"
    text = f"{_ends(count)}, {reader.money(line['cost_minor'])}"
    return f"{text}; leaves ways open that no seal closes now" if leaves_open else text


def _ends(count: int) -> str:
    return f"{count} {'end' if count == 1 else 'ends'}"


def _option(reader: _Reader, package: Row) -> str:
    text = f"{_ends(int(package['ends_count']))}, {reader.money(package['cost_minor'])}: "
    if pd.isna(package["pv_avoided_minor"]):
        return text + str(package["gain"])
    upto = "up to " if package["gain"] == "up to" else ""
    return text + f"avoids {upto}{reader.money(package['pv_avoided_minor'])} (PV)"


def _works(reader: _Reader, packages: list[Row | None]) -> list[Fact]:
    part = "Package and cost"

    def ends(p: Row) -> str:
        held = f", {int(p['held_count'])} held" if int(p["held_count"]) else ""
        return f"{int(p['ends_count'])}{held}; {float(p['crew_days']):.1f} crew-days"

    def spread(p: Row) -> str:
        if pd.isna(p["cost_low_minor"]):
            return f"{reader.money(p['cost_minor'])}; no range stated"
        return reader.series([p[n] for n in ("cost_low_minor", "cost_minor", "cost_high_minor")])

    return [
        Fact(part, "Ends to seal", _each(packages, ends), "packages: ends_count, held_count, crew_days"),
        Fact(part, "Material, labour, site cost",
             _each(packages, lambda p: reader.series(
                 [p[n] for n in ("material_minor", "labour_minor", "site_cost_minor")], " + ")),
             "packages: material_minor, labour_minor, site_cost_minor"),
        Fact(part, "Cost, low / central / high", _each(packages, spread),
             "packages: cost_low_minor, cost_minor, cost_high_minor"),
    ]  # fmt: skip


def _after(reader: _Reader, packages: list[Row | None]) -> list[Fact]:
    part = "What it gives, and what stays"

    def avoided(p: Row) -> str:
        if pd.isna(p["avoided_minor_per_year"]):
            return str(p["gain"])
        names = (
            "avoided_low_minor_per_year",
            "avoided_minor_per_year",
            "avoided_high_minor_per_year",
        )
        return reader.series([p[n] for n in names])

    def ratio(p: Row) -> str:
        if pd.isna(p["ratio"]):
            return "-"
        upto = "up to " if p["gain"] == "up to" else ""
        return (
            f"{upto}{reader.money(p['pv_avoided_minor'])}, {float(p['ratio']):,.1f} times the cost"
        )

    return [
        Fact(part, "Outside water at which it gets in then",
             _each(packages, lambda p: _level(p["after_level_m"])), "packages: after_level_m"),
        Fact(part, "Chance a year then, failing seals counted", _each(packages, lambda p: _chance(p, "after")),
             "packages: after_chance_per_year, after_bound"),
        Fact(part, "Loss avoided a year, low / central / high", _each(packages, avoided),
             "packages: avoided_low_ / avoided_ / avoided_high_minor_per_year"),
        Fact(part, "Present value, over cost", _each(packages, ratio),
             "packages: pv_avoided_minor, ratio"),
        Fact(part, "What lets water in next", _each(packages, lambda p: _short(p["next_gate"])),
             "packages: next_gate"),
        Fact(part, "Held", _each(packages, lambda p: _short(p["hold"])), "packages: hold"),
    ]  # fmt: skip


def _doubts(
    reader: _Reader, site: Row, buildings: tuple[str, ...], packages: list[Row | None]
) -> list[Fact]:
    part = "How sure, and what is missing"

    def classes(b: str) -> str:
        rows = reader.openings.get(b, [])
        close = sum(r["level_class"] == contract.CLOSE for r in rows)
        blind = sum(r["level_class"] in (contract.NO_LEVEL, contract.NO_FLOOD) for r in rows)
        noun = "opening" if len(rows) == 1 else "openings"
        return f"{len(rows)} {noun}: {close} too close to call, {blind} without level or flood"

    def dry(p: Row) -> str:
        if pd.isna(p["dry_before_frac"]):
            return NOT_KNOWN
        bound = "" if pd.isna(p["dry_bound"]) else f"{p['dry_bound']} "
        return f"{bound}{float(p['dry_before_frac']):.0%} -> {float(p['dry_after_frac']):.0%}"

    open_ones = [f for f in reader.findings.get(str(site["site_id"]), []) if f["weight"] != "NOTE"]
    return [
        Fact(part, "Openings", tuple(classes(b) for b in buildings), "reach: level_class"),
        Fact(part, "Chance to stay dry in the design event", _each(packages, dry),
             "packages: dry_before_frac, dry_after_frac"),
        Fact(part, "Assumed", _each(packages, lambda p: _short(p["assumed"])), "packages: assumed"),
        Fact(part, "Open questions of the site",
             (str(len(open_ones)), *("" for _ in buildings[1:])), "findings: site_id, weight"),
    ]  # fmt: skip


def _dates(reader: _Reader, site: Row, buildings: tuple[str, ...]) -> list[Fact]:
    part = "Dates"

    def days(b: str) -> str:
        dates = sorted(
            str(d["work_date"])
            for d in reader.days.get(str(site["site_id"]), [])
            if b in str(d["building_ids"]).split(";")
        )
        if not dates:
            return "none planned"
        return dates[0] if len(set(dates)) == 1 else f"{dates[0]} to {dates[-1]}"

    lead = site["permit_lead_days"]
    permit = NOT_KNOWN if pd.isna(lead) else f"{int(lead)} days"
    return [
        Fact(part, "Crew days", tuple(days(b) for b in buildings), "crew_days: work_date"),
        Fact(
            part, "Permit takes", (permit, *("" for _ in buildings[1:])), "sites: permit_lead_days"
        ),
    ]


def _level(value: Any) -> str:
    return NOT_KNOWN if pd.isna(value) else f"{float(value):.3f} m"


def _chance(package: Row, when: str) -> str:
    chance = package[f"{when}_chance_per_year"]
    if pd.isna(chance):
        return NOT_KNOWN
    bound = package[f"{when}_bound"]
    word = "" if pd.isna(bound) or not bound else f"{bound} "
    one_in = f" (1 in {round(1 / chance):,})" if chance > 0 else ""
    return f"{word}{float(chance):.2%}{one_in}"


def _short(value: Any) -> str:
    if value is None or pd.isna(value):
        return ""
    text = str(value)
    return text if len(text) <= _LONGEST else text[: _LONGEST - 2].rstrip() + " …"

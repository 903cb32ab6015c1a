"""run.json: what went in, under which settings and policies, and what came out."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any, Final

import pandas as pd

from pipeline.core.buying import load as load_buying
from pipeline.core.materials import load as load_materials
from pipeline.core.materials import papers_say
from pipeline.core.run_id import RunId
from pipeline.core.settings import Settings
from pipeline.tables import Tables

_LIBRARIES: Final = ("geopandas", "pandas", "numpy", "shapely", "pyproj", "rasterio", "scipy")


def write_record(
    path: Path,
    tables: Tables,
    settings: Settings,
    run_id: RunId,
    *,
    when: Callable[[], dict[str, Any]],
) -> None:
    """Write the run record; clock times stand under `when` and nowhere else."""
    counts = tables["counts"]
    sums = counts[[c for c in counts.columns if c.endswith("_count")]].sum()
    policies = tables["policies"].sort_values("site_id")
    record = {
        "run_id": run_id.short,
        "programme": settings.programme.id,
        "planning_date": settings.planning_date.isoformat(),
        "version": run_id.version,
        "libraries": {name: _version(name) for name in _LIBRARIES},
        "only": list(run_id.only),
        "inputs": run_id.inputs,
        "settings": run_id.settings,
        "catalogue": catalogue(settings),
        "materials_note": papers_say(settings),
        "counts": {
            "survey_rows": {str(k): int(v) for k, v in sums.items()},
            "tables": {
                name: len(frame) for name, frame in sorted(tables.items()) if name != "columns"
            },
            "classes": _counts(tables["reach"]["level_class"]),
            "ways": _counts(tables["reach"]["way"]),
            "flood_answers": _counts(tables["floods"]["answer"]),
            "firmness": _counts(tables["designs"].query("is_needed")["firmness"]),
            "holds": _counts(tables["designs"]["hold_reach"]),
            "findings": _counts(tables["findings"]["weight"]),
            "states": _counts(tables["states"]["state"]),
        },
        "policies": json.loads(policies.to_json(orient="records")),
        "assumptions": _assumptions(tables),
        "when": when(),
    }
    text = json.dumps(record, indent=2, ensure_ascii=False, sort_keys=False)
    path.write_text(text + "\n", encoding="utf-8")


def catalogue(settings: Settings) -> dict[str, Any]:
    """Materials and the buyer's tables row by row, so that two runs can be compared from records.

    Rows are dicts that name themselves: an item by `id`, an offer by item, supplier, pack and
    first day, a lot by depot, item and lot.
    """
    buying = load_buying(settings)
    return {
        "materials": load_materials(settings.design.materials).model_dump(mode="json"),
        "buying": {
            "items": [{"id": k, **_plain(v)} for k, v in sorted(buying.items.items())],
            "prices": [
                {"id": f"{p.item_id} from {p.supplier_id}, pack of {p.pack_count}, "
                 f"from {p.valid_from}", **_plain(p)} for p in buying.prices
            ],
            "suppliers": [{"id": k, **_plain(v)} for k, v in sorted(buying.suppliers.items())],
            "depots": [{"id": k, **_plain(v)} for k, v in sorted(buying.depots.items())],
            "stock": [
                {"id": f"{s.item_id} at {s.depot_id}, lot {s.lot}", **_plain(s)}
                for s in buying.stock
            ],
            "calendar": {
                k: [d.isoformat() for d in sorted(days)]
                for k, days in sorted(buying.calendar.closed.items())
            },
        },
    }  # fmt: skip


def _plain(value: Any) -> Any:
    if is_dataclass(value):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    return value


def _counts(values: pd.Series) -> dict[str, int]:
    return {str(k): int(v) for k, v in sorted(values.value_counts().items())}


def _assumptions(tables: Tables) -> dict[str, int]:
    """How often each assumption was taken, over all rows that state one."""
    texts: list[str] = []
    for name in ("levels", "floods", "designs", "packages"):
        column = tables[name]["assumed"]
        texts += [str(t) for t in column[column.notna()] if str(t)]
    return _counts(pd.Series(texts, dtype="object")) if texts else {}


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"

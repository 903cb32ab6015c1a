"""What lies in the ducts of the example: bores, and cables that fit into them."""

from __future__ import annotations

import math
from random import Random
from typing import Any, Final

Row = dict[str, Any]

BORES_MM: Final = (90, 103, 118, 125, 138, 144)
CABLES_MM: Final = (22, 28, 33, 36, 41, 45, 52)
MOST_FILL: Final = 0.42  # well under the 55 % that is asked about
TREFOIL_ACROSS: Final = 1.0 + 2.0 / math.sqrt(3.0)  # circle round three touching equal circles


def bore(rng: Random) -> int:
    """A bore in mm."""
    return rng.choice(BORES_MM)


def _cable(count: int, diameter_mm: int, arrangement: str, kind: str, cores: str) -> Row:
    return {
        "count": count,
        "diameter_mm": diameter_mm,
        "arrangement": arrangement,
        "group_no": 1 if arrangement == "trefoil" else None,
        "class": kind,
        "cores": cores,
        "filling": "paper" if kind == "HV" and cores == "3" else "solid",
        "covering": "plastic",
    }


def power(rng: Random, bore_mm: int) -> list[Row]:
    """Power cables of one duct: a trefoil with company, or a few single ones."""
    fits = [d for d in CABLES_MM if TREFOIL_ACROSS * d <= 0.88 * bore_mm and d >= 28]
    if fits and rng.random() < 0.45:
        d = rng.choice(fits)
        rows = [_cable(3, d, "trefoil", rng.choice(["HV", "LV"]), "1")]
        if 3 * d**2 + 22**2 <= MOST_FILL * bore_mm**2 and rng.random() < 0.5:
            rows.append(_cable(1, 22, "single", "earth" if rng.random() < 0.04 else "control", "2"))
        return rows
    d = rng.choice([c for c in CABLES_MM if c <= 0.5 * bore_mm and c >= 33])
    most = max(1, min(3, int(MOST_FILL * bore_mm**2 / d**2)))
    rows = [_cable(1, d, "single", rng.choice(["LV", "LV", "HV"]), "3") for _ in range(most)]
    return rows[: rng.randint(1, most)]


def telecom(rng: Random, bore_mm: int) -> list[Row]:
    """Telecom cables of one duct: several thin ones, loose."""
    most = max(1, min(5, int(MOST_FILL * bore_mm**2 / 22**2)))
    rows = [_cable(rng.randint(min(2, most), most), 22, "loose", "telecom", "4 or more")]
    used = int(rows[0]["count"]) * 22**2
    if used + 28**2 <= MOST_FILL * bore_mm**2:
        rows.append(_cable(1, 28, "single", "telecom", "4 or more"))
    return rows


def contents(rng: Random, bore_mm: int, site_type: str) -> tuple[Row, list[Row]]:
    """Facts of one duct that concern its contents, and its cable rows."""
    lot = rng.random()
    if lot < 0.11:
        return {"contents": "empty", "use": "spare", "draw_cord": "no"}, []
    if lot < 0.13:
        return {"contents": "draw cord only", "use": "spare", "draw_cord": "yes"}, []
    is_telecom = rng.random() < (0.7 if site_type == "exchange" else 0.15)
    rows = telecom(rng, bore_mm) if is_telecom else power(rng, bore_mm)
    use = "telecom" if is_telecom else "power"
    return {"contents": "cables", "use": use, "draw_cord": "no"}, rows

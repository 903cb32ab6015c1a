"""Quantities with a range: doubts of their own and doubts that they share, combined to a P90.

Doubts of its own add as squares; what several quantities share (one rule, one eye, one estimate)
is wrong for all of them alike and adds up plainly, before it joins the squares.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any, Final

import pandas as pd

from pipeline.core.doubts import parts_text, read_parts

# 90 % point of the normal distribution (any table).
Z90: Final = 1.2815515655446004


def shared_sum(parts: Sequence[Mapping[str, float]]) -> dict[str, float]:
    """Shared doubts of several quantities by name: each name's doubts added plainly."""
    out: dict[str, float] = defaultdict(float)
    for one in parts:
        for name, u in one.items():
            out[name] += u
    return dict(sorted(out.items()))


def p90(quantity: float, own_u: float, shared: Mapping[str, float]) -> float:
    """P90 of a quantity with a normal range.

    Parameters
    ----------
    quantity : float
        Middle of the range, in any unit.
    own_u : float
        Its own doubt (one standard deviation, same unit).
    shared : mapping of str to float
        Doubts shared with others, by name (one standard deviation each, same unit).

    Returns
    -------
    float
    """
    return quantity + Z90 * math.sqrt(own_u**2 + sum(u**2 for u in shared.values()))


def total(group: pd.DataFrame) -> dict[str, Any]:
    """Sum of rows that carry quantity, quantity_p90, quantity_own_u and quantity_shared.

    Parameters
    ----------
    group : DataFrame
        Rows of one item. A blank own doubt is read from the row's P90 as all its own.

    Returns
    -------
    dict
        The same four values for the sum. One row keeps its own P90; a sum takes the normal range.
    """
    if len(group) == 1:
        names = ("quantity", "quantity_p90", "quantity_own_u", "quantity_shared")
        return {name: group[name].iloc[0] for name in names}
    quantity = float(group["quantity"].sum())
    from_p90 = ((group["quantity_p90"] - group["quantity"]) / Z90).clip(lower=0.0)
    own = math.sqrt(float((group["quantity_own_u"].fillna(from_p90) ** 2).sum()))
    shared = shared_sum([read_parts(t) for t in group["quantity_shared"] if isinstance(t, str)])
    return {
        "quantity": quantity,
        "quantity_p90": p90(quantity, own, shared),
        "quantity_own_u": own,
        "quantity_shared": parts_text(shared.items()) or None,
    }

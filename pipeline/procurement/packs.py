"""The next price break of an order line. Pure; money in minor units."""

from __future__ import annotations

from pipeline.core.buying import Price


def next_break(price: Price, packs_count: int) -> tuple[int, int, int] | None:
    """The next price break: packs that are missing, its price of a pack, and its whole cost.

    Parameters
    ----------
    price : Price
    packs_count : int
        Packs on the line.

    Returns
    -------
    tuple or None
        None beyond the last break.
    """
    following = [b for b in price.breaks if b.packs_count > packs_count]
    if not following:
        return None
    step = min(following, key=lambda b: b.packs_count)
    return (
        step.packs_count - packs_count,
        step.price_minor,
        step.packs_count * step.price_minor,
    )

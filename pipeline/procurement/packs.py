"""Packs: the cheapest way to reach a number of pieces with one offer, price breaks and minimum.

Pure. Money in minor units.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.core.buying import Price


@dataclass(frozen=True)
class Purchase:
    """So many packs of one offer."""

    offer: Price
    packs_count: int

    @property
    def pack_price_minor(self) -> int:
        """Price of one pack at this number of packs."""
        return self.offer.pack_price_minor(self.packs_count)

    @property
    def cost_minor(self) -> int:
        """Packs x price."""
        return self.packs_count * self.pack_price_minor

    @property
    def pieces_count(self) -> int:
        """Packs x pieces in a pack."""
        return self.packs_count * self.offer.pack_count


def cheapest(pieces_count: int, offers: Sequence[Price]) -> Purchase | None:
    """Cheapest purchase of at least so many pieces from one of the offers.

    More packs than needed are bought where a price break makes the whole cheaper. Ties: fewer
    pieces, then supplier, then pack size.

    Parameters
    ----------
    pieces_count : int
        Pieces needed; 0 buys nothing.
    offers : sequence of Price

    Returns
    -------
    Purchase or None
        None when there is nothing to buy or no offer.

    """
    if pieces_count <= 0:
        return None
    options = []
    for offer in offers:
        least = max(-(-pieces_count // offer.pack_count), offer.minimum_packs_count)
        counts = {least, *(b.packs_count for b in offer.breaks if b.packs_count > least)}
        options += [Purchase(offer, n) for n in counts]
    return min(
        options,
        key=lambda p: (p.cost_minor, p.pieces_count, p.offer.supplier_id, p.offer.pack_count),
        default=None,
    )


def next_break(purchase: Purchase) -> tuple[int, int, int] | None:
    """The next price break: packs that are missing, its price of a pack, and its whole cost."""
    following = [b for b in purchase.offer.breaks if b.packs_count > purchase.packs_count]
    if not following:
        return None
    step = min(following, key=lambda b: b.packs_count)
    return (
        step.packs_count - purchase.packs_count,
        step.price_minor,
        step.packs_count * step.price_minor,
    )

"""Money in whole minor units: how many decimals a currency has, and how an amount is written."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from typing import Final

# ISO 4217 minor units that differ from 2 (list one of the standard, from memory).
_DECIMALS: Final = {
    **dict.fromkeys(
        (
            "BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "UYI",
            "VND", "VUV", "XAF", "XOF", "XPF",
        ),
        0,
    ),
    **dict.fromkeys(("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"), 3),
    **dict.fromkeys(("CLF", "UYW"), 4),
}  # fmt: skip


def decimals(currency: str) -> int:
    """Number of decimals of a currency by ISO 4217: 0, 2, 3 or 4; 2 for codes not listed."""
    return _DECIMALS.get(currency, 2)


def exact_minor(text: str, currency: str) -> int:
    """A written amount in minor units, exactly.

    Parameters
    ----------
    text : str
        Amount in whole currency units, decimal point, no thousands mark: '88.50'.
    currency : str
        ISO 4217 code.

    Returns
    -------
    int
        Minor units.

    Raises
    ------
    ValueError
        When the text is no amount, or has more decimals than the currency.
    """
    try:
        amount = Decimal(text.strip()).scaleb(decimals(currency))
    except InvalidOperation:
        raise ValueError(f"{text!r} is no amount of money") from None
    if not amount.is_finite() or amount != amount.to_integral_value():
        raise ValueError(f"{text!r} has more than {decimals(currency)} decimals for {currency}")
    return int(amount)


def minor(amount: float, currency: str) -> int:
    """An amount in whole currency units, rounded once to minor units (half to even)."""
    scaled = Decimal(repr(float(amount))).scaleb(decimals(currency))
    return int(scaled.to_integral_value(rounding=ROUND_HALF_EVEN))


def up_minor(amount_minor: float) -> int:
    """A computed cost in minor units, rounded up once; float noise below 1e-6 does not count."""
    return math.ceil(round(amount_minor, 6))


def major(amount_minor: int, currency: str) -> Decimal:
    """Minor units as an exact decimal in whole currency units."""
    return Decimal(int(amount_minor)).scaleb(-decimals(currency))


def words(amount_minor: int, currency: str) -> str:
    """An amount as read by people: '4,200 GBP'; the decimals are shown only where there are any."""
    value = major(amount_minor, currency)
    if value == value.to_integral_value():
        return f"{int(value):,} {currency}"
    return f"{value:,.{decimals(currency)}f} {currency}"


def about(amount_minor: int, currency: str) -> str:
    """An amount rounded to whole currency units, for sentences: '4,200 GBP'."""
    return f"{round(major(amount_minor, currency)):,} {currency}"

"""Money in minor units by currency."""

from __future__ import annotations

import pytest

from pipeline.core import money


@pytest.mark.parametrize(
    ("currency", "text", "minor"),
    # minor units of ISO 4217 (from memory): yen none, pound two, Kuwaiti dinar three
    [("JPY", "1500", 1500), ("GBP", "88.50", 8850), ("KWD", "1.234", 1234), ("EUR", "0.1", 10)],
)
def test_exact_minor(currency: str, text: str, minor: int) -> None:
    """A written price becomes whole minor units without a float on the way."""
    assert money.exact_minor(text, currency) == minor


@pytest.mark.parametrize("text", ["1.005", "12,50", "abc", "", "nan", "inf"])
def test_no_amount_is_refused(text: str) -> None:
    """More decimals than the currency has, a comma, or no number at all."""
    with pytest.raises(ValueError, match=r"amount|decimals"):
        money.exact_minor(text, "GBP")


def test_cost_rounds_up_once_and_float_noise_does_not_count() -> None:
    """0.1 + 0.2 in minor units stays 0.3 -> 1; a noise of 1e-9 above a whole is that whole."""
    assert money.up_minor(0.1 + 0.2) == 1
    assert money.up_minor(300.000000001) == 300


def test_words() -> None:
    """Whole amounts without decimals, others with the currency's."""
    assert money.words(420000, "GBP") == "4,200 GBP"
    assert money.words(420050, "GBP") == "4,200.50 GBP"
    assert money.words(1500, "JPY") == "1,500 JPY"
    assert money.about(420050, "GBP") == "4,200 GBP"

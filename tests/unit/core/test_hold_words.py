"""Words of holds taken apart: one per hold, brackets inside kept."""

from __future__ import annotations

from pipeline.core.hold_words import holds_in
from pipeline.design.hold_rules import RULES


def test_every_rule_is_found_again() -> None:
    """The words of all rules that hold, joined as the design joins them, give each rule once."""
    rules = [r for r in RULES if r.released_by]
    what = [r.words.format(detail="a detail (3 m)") for r in rules]
    words = "; ".join(
        f"{w} (released by {r.released_by})" for w, r in zip(what, rules, strict=True)
    )
    found = holds_in(words)
    assert [h.what for h in found] == what
    assert [h.released_by for h in found] == [r.released_by for r in rules]


def test_no_words_no_holds() -> None:
    """Nothing in, nothing out."""
    assert holds_in("") == []

"""HTML built from elements: every text is escaped, because a survey may hold anything."""

from __future__ import annotations

import html
import unicodedata
from typing import Final

_VOID: Final = frozenset({"input", "meta", "link", "br"})
Child = "Markup | str | None"


class Markup(str):
    """HTML that may be written as it stands; only this module makes it."""

    __slots__ = ()


def el(tag: str, *children: Markup | str | None, **attributes: str | bool | None) -> Markup:
    """One element; texts among the children are escaped.

    Parameters
    ----------
    tag : str
    children : Markup or str
        None is left out.
    attributes : str or bool
        A trailing underscore is dropped and others become dashes; True writes the name alone.
    """
    written = "".join(_attribute(n, v) for n, v in attributes.items() if v not in (None, False))
    if tag in _VOID:
        return Markup(f"<{tag}{written}>")
    return Markup(f"<{tag}{written}>{join(*children)}</{tag}>")


def _attribute(name: str, value: str | bool | None) -> str:
    name = name.rstrip("_").replace("_", "-")
    return f" {name}" if value is True else f' {name}="{escape(str(value))}"'


def join(*children: Markup | str | None) -> Markup:
    """Children one after another."""
    return Markup(
        "".join(c if isinstance(c, Markup) else escape(c) for c in children if c is not None)
    )


def escape(text: str) -> str:
    """A text as HTML that shows it, control signs as a replacement sign."""
    seen = "".join(
        c if unicodedata.category(c) not in ("Cc", "Cs") or c in "\n\t" else "\ufffd" for c in text
    )
    return html.escape(seen, quote=True)


def said(text: str, class_: str = "") -> Markup:
    """A text of a survey: set apart, so that marks that turn the writing round end with it."""
    return el("bdi", text, class_=class_ or None)

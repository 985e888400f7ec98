"""Elements whose text is escaped by construction: a plain ``str`` is text, only ``Markup`` is markup."""

import html
from collections.abc import Iterable

from faults.report.text import plain

_VOID = frozenset({"meta", "br", "hr"})


class Markup(str):
    """Text that is already markup."""

    __slots__ = ()


def escaped(text: str) -> Markup:
    """Return ``text`` as markup: escaped, with unsafe characters made visible; markup passes unchanged."""
    if isinstance(text, Markup):
        return text
    return Markup(html.escape(plain(text), quote=True))


def el(tag: str, *children: str, **attributes: str | int | None) -> Markup:
    """Return one element. ``class_`` stands for ``class``, ``_`` for ``-``; ``None`` drops an attribute."""
    pairs = (
        f' {key.rstrip("_").replace("_", "-")}="{escaped(str(value))}"'
        for key, value in attributes.items()
        if value is not None
    )
    start = f"<{tag}{''.join(pairs)}>"
    if tag in _VOID:
        return Markup(start)
    return Markup(f"{start}{''.join(escaped(child) for child in children)}</{tag}>")


def joined(parts: Iterable[str], between: str = "\n") -> Markup:
    """Return several parts as one, each escaped unless it is markup; ``between`` is markup."""
    return Markup(between.join(escaped(part) for part in parts))


def table(
    caption: str,
    heads: Iterable[str],
    rows: Iterable[tuple[str, ...]],
    *,
    id_: str | None = None,
    class_: str | None = None,
) -> Markup:
    """Return a table with caption, column heads and the first cell of each row as row head."""
    body = (
        el("tr", el("th", first, scope="row"), *(el("td", cell) for cell in rest)) for first, *rest in rows
    )
    return el(
        "table",
        el("caption", caption),
        el("thead", el("tr", *(el("th", head, scope="col") for head in heads))),
        Markup("\n"),
        el("tbody", joined(body)),
        id=id_,
        class_=class_,
    )

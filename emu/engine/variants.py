"""The variants of a generated function, and what each is given besides what all are given."""

from typing import Literal

Variant = Literal["healthy", "cell", "tables", "full", "trace", "profile"]
VARIANTS: tuple[Variant, ...] = ("healthy", "cell", "tables", "full", "trace", "profile")
TABLES = "ri, rows, mi, masks, wired, shapes"
EXTRA: dict[Variant, str] = {
    "healthy": "",
    "cell": "undo, stamp, fcell, out_and, out_or, in_and, in_or",
    "tables": f"fl, {TABLES}",
    "full": f"fl, {TABLES}, modes, rules, gates, dwell, bus",
    "trace": f"fl, {TABLES}, modes, rules, gates, dwell, bus, ev",
    "profile": "seen, firsts, buses, near",
}
COMMON = "st, mem, out, inp, dec, tab"

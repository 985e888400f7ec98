"""Fault patterns of one cell, and of an aggressor cell acting on a victim cell.

Slot 0 is the cell, or the aggressor; the victim of a pair is slot 1. Every pattern is a fault primitive;
the names are the usual ones (van de Goor 1991; Hamdioui, van de Goor, Rodgers 2002; from memory).
"""

from itertools import product

from faults.march.primitives import Bit, CellPattern, Effect, Primitive

BITS: tuple[Bit, Bit] = (0, 1)


def inverse(bit: Bit) -> Bit:
    """Return the other value."""
    return 0 if bit else 1


def _single(kind: str, words: str, parameters: tuple[int | str, ...], primitive: Primitive) -> CellPattern:
    return CellPattern(kind, words, parameters, primitive.victim + 1, (primitive,))


def _guard(cell: int, state: Bit | None) -> tuple[int, Bit] | None:
    return None if state is None else (cell - 1, state)


def stuck_at() -> tuple[CellPattern, ...]:
    """Return SAF: the cell holds v from power-up, writes are lost."""
    return tuple(
        _single("SAF", f"holds {v} always", (v,), Primitive("state", 0, 0, None, force=v)) for v in BITS
    )


def _own_cell(name: str, cell: int, state: Bit | None, x: Bit) -> Primitive:
    """Return the primitive of a fault in the victim's own operation, when its content is ``x``."""
    y, guard = inverse(x), _guard(cell, state)
    match name:
        case "TF":
            return Primitive("write", cell, cell, x, y, guard, force=x)
        case "WDF":
            return Primitive("write", cell, cell, x, x, guard, force=y)
        case "RDF":
            return Primitive("read", cell, cell, x, None, guard, force=y, returns=y)
        case "DRDF":
            return Primitive("read", cell, cell, x, None, guard, force=y)
        case _:
            return Primitive("read", cell, cell, x, None, guard, returns=y)


_OWN_WORDS = {
    "TF": "a write of {y} leaves {x}",
    "WDF": "a write of {x} over {x} makes it {y}",
    "RDF": "a read of {x} makes it {y} and returns {y}",
    "DRDF": "a read of {x} makes it {y} and returns {x}",
    "IRF": "a read of {x} returns {y}",
}
_COUPLED = {"CFtr": "TF", "CFwd": "WDF", "CFrd": "RDF", "CFdr": "DRDF", "CFir": "IRF"}


def own_operation(name: str) -> tuple[CellPattern, ...]:
    """Return TF, WDF, RDF, DRDF or IRF: the cell's own operation goes wrong on content x = 0 or 1."""
    return tuple(
        _single(name, _OWN_WORDS[name].format(x=x, y=1 - x), (x,), _own_cell(name, 0, None, x)) for x in BITS
    )


def guarded_operation(kind: str) -> tuple[CellPattern, ...]:
    """Return CFtr, CFwd, CFrd, CFdr or CFir: the same on the victim, only while the aggressor holds z."""
    name = _COUPLED[kind]
    return tuple(
        _single(
            kind,
            f"while the aggressor holds {z}, {_OWN_WORDS[name].format(x=x, y=1 - x)}",
            (z, x),
            _own_cell(name, 1, z, x),
        )
        for z, x in product(BITS, BITS)
    )


def transition(slot: int, victim: int, before: Bit, effect: Effect) -> Primitive:
    """Return the primitive: ``slot`` goes from ``before`` to its inverse, ``victim`` takes ``effect``."""
    return Primitive("write", slot, victim, before, inverse(before), force=effect)


def arrow(before: Bit) -> str:
    """Return the transition from ``before`` in words."""
    return "falling" if before else "rising"


def inversion() -> tuple[CellPattern, ...]:
    """Return CFin: the victim is inverted when the aggressor makes the stated transition."""
    return tuple(
        _single("CFin", f"the {arrow(b)} aggressor inverts", (b,), transition(0, 1, b, "flip")) for b in BITS
    )


def idempotent() -> tuple[CellPattern, ...]:
    """Return CFid: the victim is forced to 0 or 1 when the aggressor makes the stated transition."""
    return tuple(
        _single("CFid", f"the {arrow(b)} aggressor forces {e}", (b, e), transition(0, 1, b, e))
        for b, e in product(BITS, BITS)
    )


def state() -> tuple[CellPattern, ...]:
    """Return CFst: while the aggressor holds x the victim is held at y."""
    return tuple(
        _single(
            "CFst",
            f"while the aggressor holds {x}, held at {y}",
            (x, y),
            Primitive("state", 0, 1, x, force=y),
        )
        for x, y in product(BITS, BITS)
    )


def disturb() -> tuple[CellPattern, ...]:
    """Return CFds: an operation on the aggressor (0r0, 1r1, and the four writes) forces the victim."""
    found = []
    for x, e in product(BITS, BITS):
        read = Primitive("read", 0, 1, x, force=e)
        found.append(_single("CFds", f"{x}r{x} on the aggressor forces {e}", ("r", x, x, e), read))
        for d in BITS:
            write = Primitive("write", 0, 1, x, d, force=e)
            found.append(_single("CFds", f"{x}w{d} on the aggressor forces {e}", ("w", x, d, e), write))
    return tuple(found)


def _dynamic_read(name: str, cell: int, state: Bit | None, x: Bit, y: Bit) -> Primitive:
    wrong, guard = inverse(y), _guard(cell, state)
    force = None if name == "dIRF" else wrong
    returns = None if name == "dDRDF" else wrong
    return Primitive("write-read", cell, cell, x, y, guard, force, returns)


_DYNAMIC_WORDS = {
    "dRDF": "makes it {w} and returns {w}",
    "dDRDF": "makes it {w} and returns {y}",
    "dIRF": "returns {w}",
}


def _dynamic_words(name: str, x: Bit, y: Bit) -> str:
    return f"{x}w{y}r{y} {_DYNAMIC_WORDS[name].format(w=1 - y, y=y)}"


def dynamic_one_cell() -> tuple[CellPattern, ...]:
    """Return dRDF, dDRDF and dIRF: x w y directly followed by r y on the same cell."""
    return tuple(
        _single(name, _dynamic_words(name, x, y), (x, y), _dynamic_read(name, 0, None, x, y))
        for name, x, y in product(_DYNAMIC_WORDS, BITS, BITS)
    )


def dynamic_two_cells() -> tuple[CellPattern, ...]:
    """Return the same while the aggressor holds z, and dCFds: the pair on the aggressor forces the victim."""
    guarded = [
        _single(
            name,
            f"while the aggressor holds {z}, {_dynamic_words(name, x, y)}",
            (z, x, y),
            _dynamic_read(name, 1, z, x, y),
        )
        for name, z, x, y in product(_DYNAMIC_WORDS, BITS, BITS, BITS)
    ]
    disturbing = [
        _single(
            "dCFds",
            f"{x}w{y}r{y} on the aggressor forces {e}",
            (x, y, e),
            Primitive("write-read", 0, 1, x, y, force=e),
        )
        for x, y, e in product(BITS, BITS, BITS)
    ]
    return (*guarded, *disturbing)

"""Linked faults: several primitives on one victim, where one may hide the other."""

from itertools import product

from faults.march.classes_cell import BITS, arrow, inverse, transition
from faults.march.primitives import Bit, CellPattern, Effect, Primitive


def one_aggressor() -> tuple[CellPattern, ...]:
    """Return LCFid 2c: the rising aggressor forces e and the falling one the inverse."""
    return tuple(
        CellPattern(
            "LCFid 2c",
            f"the rising aggressor forces {e}, the falling one {1 - e}",
            (e,),
            2,
            (transition(0, 1, 0, e), transition(0, 1, 1, inverse(e))),
        )
        for e in BITS
    )


def two_idempotent() -> tuple[CellPattern, ...]:
    """Return LCFid 3c: two aggressors (slots 0 and 1), any two transitions, opposite effects."""
    return tuple(
        CellPattern(
            "LCFid 3c",
            f"the {arrow(s)} first aggressor forces {e}, the {arrow(t)} second {1 - e}",
            (s, t, e),
            3,
            (transition(0, 2, s, e), transition(1, 2, t, inverse(e))),
        )
        for s, t, e in product(BITS, BITS, BITS)
    )


def two_inversions() -> tuple[CellPattern, ...]:
    """Return LCFin 3c: two aggressors (slots 0 and 1), each inverting the victim."""
    return tuple(
        CellPattern(
            "LCFin 3c",
            f"the {arrow(s)} first and the {arrow(t)} second aggressor invert",
            (s, t),
            3,
            (transition(0, 2, s, "flip"), transition(1, 2, t, "flip")),
        )
        for s, t in product(BITS, BITS)
    )


def _transition_fault(x: Bit) -> Primitive:
    return Primitive("write", 1, 1, x, inverse(x), force=x)


def _with_transition(kind: str, x: Bit, before: Bit, effect: Effect) -> CellPattern:
    does = "inverts" if effect == "flip" else f"forces {effect}"
    words = f"a write of {1 - x} leaves {x}, and the {arrow(before)} aggressor {does}"
    parameters: tuple[int | str, ...] = (x, before) if effect == "flip" else (x, before, effect)
    return CellPattern(kind, words, parameters, 2, (_transition_fault(x), transition(0, 1, before, effect)))


def transition_and_inversion() -> tuple[CellPattern, ...]:
    """Return TF+CFin: a transition fault on a cell that is also the victim of a CFin."""
    return tuple(_with_transition("TF+CFin", x, b, "flip") for x, b in product(BITS, BITS))


def transition_and_idempotent() -> tuple[CellPattern, ...]:
    """Return TF+CFid: a transition fault on a cell that is also the victim of a CFid."""
    return tuple(_with_transition("TF+CFid", x, b, e) for x, b, e in product(BITS, BITS, BITS))

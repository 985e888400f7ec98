"""When a fault is there, as text: ``5%``, ``open:2ms,closed:50ms``, ``when:warm``, ``after:0o17``..."""

import re
from collections.abc import Callable
from decimal import Decimal

from emu.gates import CHANCE_ONE, MIN_DWELL_NS, Gate
from emu.words import WordFormat

_UNITS = {"s": 1_000_000_000, "ms": 1_000_000, "us": 1_000, "ns": 1}
_TIME = re.compile(r"(\d{1,16})(ns|us|ms|s)")
_CHANCE = re.compile(r"(\d{1,3}(?:\.\d{1,12})?)%")
_MAX_NS = 1 << 53
_MAX_ACCESS = 1 << 53
FORMS = "5%, open:2ms,closed:50ms, when:warm, after:0o17, accesses:100..200"


def gate_text(gate: Gate, addresses: WordFormat) -> str:
    """Return a gate as faults write it, without the @."""
    match gate.kind:
        case "chance":
            return f"{_percent(gate.low)}%"
        case "contact":
            return f"open:{_time_text(gate.low)},closed:{_time_text(gate.high)}"
        case "window":
            return f"accesses:{gate.low}..{gate.high}"
        case "condition":
            return f"when:{gate.name}"
        case _:
            full = (1 << addresses.bits) - 1
            mask = "" if gate.low == full else f"/{addresses.tagged(gate.low)}"
            return f"after:{addresses.tagged(gate.high)}{mask}"


def read_gate(text: str, addresses: WordFormat) -> Gate:
    """Return the gate that a text means. ValueError with the rule and what was given if it means none."""
    if _CHANCE.fullmatch(text):
        return _chance(text)
    name, colon, rest = text.partition(":")
    readers: dict[str, Callable[[str, WordFormat], Gate]] = {
        "open": _contact,
        "closed": _contact,
        "when": _condition,
        "after": _after,
        "accesses": _window,
    }
    if not colon or name not in readers:
        raise ValueError(f"after @ stands one of {FORMS}; given {text[:40]!r}")
    return readers[name](text if name in {"open", "closed"} else rest, addresses)


def _chance(text: str) -> Gate:
    low = round(Decimal(text[:-1]) / 100 * CHANCE_ONE)
    if not 0 < low <= CHANCE_ONE:
        raise ValueError(f"a chance is more than 0% and at most 100%; given {text!r}")
    return Gate("chance", low)


def _percent(low: int) -> str:
    """Return the shortest decimal that reads back as the same chance."""
    exact = Decimal(low) * 100 / CHANCE_ONE
    for places in range(13):
        text = f"{exact:.{places}f}"
        if round(Decimal(text) / 100 * CHANCE_ONE) == low:
            return text
    raise AssertionError("twelve decimals tell all chances apart")


def _contact(text: str, addresses: WordFormat) -> Gate:  # noqa: ARG001
    found = re.fullmatch(r"open:([^,:]+),\s*closed:([^,:]+)", text)
    if found is None:
        raise ValueError(f"a bad contact has mean times, as in open:2ms,closed:50ms; given {text[:40]!r}")
    return Gate("contact", _time(found[1]), _time(found[2]))


def _time(text: str) -> int:
    found = _TIME.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"a time is a whole number with ns, us, ms or s; given {text[:40]!r}")
    value = int(found[1]) * _UNITS[found[2]]
    if not MIN_DWELL_NS <= value <= _MAX_NS:
        raise ValueError(f"a mean time lies between 1us and 100 days; given {text[:40]!r}")
    return value


def _time_text(ns: int) -> str:
    unit = next(u for u, size in _UNITS.items() if ns % size == 0)
    return f"{ns // _UNITS[unit]}{unit}"


def _condition(text: str, addresses: WordFormat) -> Gate:  # noqa: ARG001
    if not re.fullmatch(r"[a-z][a-z0-9-]{0,39}", text):
        raise ValueError(f"a condition is a name of small letters, digits and '-'; given {text[:40]!r}")
    return Gate("condition", name=text)


def _window(text: str, addresses: WordFormat) -> Gate:  # noqa: ARG001
    found = re.fullmatch(r"(\d{1,16})\.\.(\d{1,16})", text)
    if found is None or not int(found[1]) < int(found[2]) <= _MAX_ACCESS:
        raise ValueError(
            f"accesses are counted from 0, first..end, as in accesses:100..200; given {text[:40]!r}"
        )
    return Gate("window", int(found[1]), int(found[2]))


def _after(text: str, addresses: WordFormat) -> Gate:
    value, slash, mask = text.partition("/")
    low = addresses.parse(mask) if slash else (1 << addresses.bits) - 1
    high = addresses.parse(value)
    if high & ~low:
        raise ValueError(
            f"the address after which the fault is there has bits outside its mask; given {text!r}"
        )
    return Gate("after", low, high)

"""Address bits of a board file (``"0-4,7"``) and the names of stored bits."""

from collections.abc import Sequence

from emu.spec import MachineSpec

BITS_PATTERN = r"\d{1,2}(?:-\d{1,2})?(?:,\d{1,2}(?:-\d{1,2})?)*"
BITS_RULE = 'address bits by weight exponent such as "0-4" or "3,5-7"'


def bit_list(text: str) -> tuple[int, ...]:
    """Return the bits of ``"0-4,7"``, in the order given. "" gives none."""
    found: list[int] = []
    for run in filter(None, text.split(",")):
        first, _, last = run.partition("-")
        found += range(int(first), int(last or first) + 1)
    return tuple(found)


def bit_mask(bits: Sequence[int]) -> int:
    """Return the mask of some bits."""
    return sum(1 << b for b in set(bits))


def spread(value: int, bits: Sequence[int]) -> int:
    """Return the address with ``value`` written into the bits, the first one least significant."""
    return sum((value >> i & 1) << b for i, b in enumerate(bits))


def gathered(address: int, bits: Sequence[int]) -> int:
    """Return what the bits of an address spell, the first one least significant."""
    return sum((address >> b & 1) << i for i, b in enumerate(bits))


def stored_bit_names(machine: MachineSpec, store: int) -> tuple[str, ...]:
    """Return the names of a store's bits by weight: as the machine numbers them, then the check bits.

    One check bit is called ``parity``, several ``check0``, ``check1``...
    """
    spec = machine.stores[store]
    data = [machine.word.label(i) for i in range(spec.data_bits)]
    checks = spec.bits - spec.data_bits
    return (*data, *(["parity"] if checks == 1 else [f"check{i}" for i in range(checks)]))


def odd_parts(bits: Sequence[int], parity: int = 1) -> tuple[tuple[int, int], ...]:
    """Return the parts (mask, value) of the addresses whose ``bits`` have that parity."""
    mask = bit_mask(bits)
    values = (spread(v, bits) for v in range(1 << len(bits)) if v.bit_count() & 1 == parity)
    return tuple((mask, value) for value in values)

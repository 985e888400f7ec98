"""Checks that every way of building makes of the address bits in its table."""

from collections.abc import Iterator, Mapping

from faults.boards.bits import bit_list, spread
from faults.boards.technology import StoreGround


def bits_exist(ground: StoreGround, keys: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Yield a problem for every key that names an address bit the store does not have."""
    most = ground.address_bits
    for name, text in keys.items():
        for run in text.split(","):
            first, _, last = run.partition("-")
            if last and int(last) < int(first):
                spelled = ",".join(str(b) for b in range(int(first), int(last) - 1, -1))
                order = (
                    f"write '{last}-{first}', or {spelled!r} if the lines are numbered the other way round"
                )
                yield name, f"a range of bits counts upward; {order}; given {run!r}"
        beyond = [b for b in bit_list(text) if b >= most]
        if beyond:
            yield name, f"store {ground.name!r} has address bits 0 to {most - 1}; {name!r} names {beyond[0]}"


def split_problems(ground: StoreGround, keys: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Yield problems unless the keys share out all address bits, each to one of them."""
    beyond = list(bits_exist(ground, keys))
    yield from beyond
    owner: dict[int, str] = {}
    for name, text in keys.items():
        for bit in bit_list(text):
            if bit in owner:
                yield name, f"an address bit is decoded once; bit {bit} stands in {owner[bit]!r} and {name!r}"
            owner.setdefault(bit, name)
    left = [b for b in range(ground.address_bits) if b not in owner]
    if left and not beyond:
        names = ", ".join(repr(n) for n in keys)
        yield next(iter(keys)), f"every address bit must be decoded by one of {names}; bit {left[0]} is not"


def part_problems(ground: StoreGround, whole: str, name: str, text: str) -> Iterator[tuple[str, str]]:
    """Yield a problem if ``text`` names bits that are not among those of ``whole``."""
    outside = [b for b in bit_list(text) if b not in bit_list(whole)]
    if outside:
        yield name, f"{name!r} of {ground.name!r} must be among the bits {whole!r}; bit {outside[0]} is not"


def number_problems(
    ground: StoreGround, keys: Mapping[str, str], rows: int | None = None
) -> Iterator[tuple[str, str]]:
    """Yield a problem for every key whose numbers that have words do not run from 0 on, without a gap.

    They do where the words fill all addresses. ``rows``: how many there must be.
    """
    for name, text in keys.items():
        bits = bit_list(text)
        if len(set(bits)) < len(bits) or any(b >= ground.address_bits for b in bits):
            continue
        used = [n for n in range(1 << len(bits)) if spread(n, bits) < ground.spec.words]
        if used[-1] >= (rows or len(used)):
            rule = f"{name!r} must be the highest address bits, the lowest of them first"
            yield name, f"where words do not fill all addresses, as in {ground.name!r}, {rule}"

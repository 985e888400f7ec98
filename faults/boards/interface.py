"""What every store has, however it is built: address lines, data lines, cells; and the buses before them."""

from collections.abc import Iterator

from attrs import evolve

from emu.spec import MachineSpec
from faults.boards.bits import stored_bit_names
from faults.boards.family import Family, Named
from faults.boards.technology import StoreGround, family, numbered, spoken
from faults.sites import (
    STAGE_BUS_ADDRESS,
    STAGE_BUS_DATA,
    STAGE_CELL,
    STAGE_STORE_ADDRESS,
    STAGE_STORE_DATA,
    AddressLine,
    BusAddressLine,
    BusDataLine,
    CellBit,
    DataLine,
    Site,
    StandIn,
    Undriven,
)

MAX_BUS_BITS = 20  # a plan lists the whole bus when a line of it is broken


def bank_bits(ground: StoreGround) -> frozenset[int]:
    """Return the address bits of a store that a bank register supplies."""
    found: set[int] = set()
    for window in ground.machine.windows:
        if window.store == ground.name and window.bank:
            first = max(0, window.size.bit_length() - 1)
            found |= set(range(first, ground.address_bits))
    return frozenset(found)


def store_lines(ground: StoreGround, undriven: Undriven = "zeros") -> Iterator[Family]:
    """Yield the address and data lines between the buses and a store.

    ``undriven``: what is read where no cell of the store answers.
    """
    banked = bank_bits(ground)
    lines = family(
        ground,
        "address",
        (numbered("address line", ground.address_bits),),
        lambda at: AddressLine(ground.index, at[0], bank=at[0] in banked, undriven=undriven),
        stage=STAGE_STORE_ADDRESS,
        part="contact",
        noun="address line {}",
    )

    def line(path: str, at: tuple[int, ...]) -> Site:
        site = lines.make(path, at)
        if at[0] not in banked:
            return site
        bank = f" (bank bit {at[0] - min(banked)}) of the "
        return evolve(site, noun=site.noun.replace(" of the ", bank, 1))

    yield evolve(lines, make=line)
    yield family(
        ground,
        "data",
        (ground.bits,),
        lambda at: DataLine(ground.index, 1 << at[0], None, "both", "bus"),
        stage=STAGE_STORE_DATA,
        part="contact",
        noun="data line of bit {}",
    )


def cells(ground: StoreGround) -> Family:
    """Return the family of the single bits of every cell."""
    return family(
        ground,
        "cell",
        (ground.addresses, ground.bits),
        lambda at: CellBit(ground.index, at[0], 1 << at[1]),
        stage=STAGE_CELL,
        part="core" if ground.spec.destructive else "chip",
        noun="cell {}, bit {}",
        fine=True,
    )


def stand_in(ground: StoreGround) -> Family:
    """Return the unit that serves a store's words on request."""
    return family(
        ground,
        "unit",
        (),
        lambda at: StandIn(ground.index, ground.full),  # noqa: ARG005
        stage=STAGE_STORE_DATA,
        part="unit",
        noun="stand-in unit",
    )


def buses(machine: MachineSpec) -> Iterator[Family]:
    """Yield the lines of the processor's address and data bus."""

    def address(path: str, at: tuple[int, ...]) -> Site:
        noun = f"line {at[0]} of the address bus"
        return Site(path, BusAddressLine(at[0]), STAGE_BUS_ADDRESS, "contact", noun)

    widest = max(range(len(machine.stores)), key=lambda i: machine.stores[i].bits)
    bits = Named("bit", stored_bit_names(machine, widest))

    def data(path: str, at: tuple[int, ...]) -> Site:
        noun = spoken(f"line of bit {bits.text(at[0])} of the data bus")
        return Site(path, BusDataLine(1 << at[0]), STAGE_BUS_DATA, "contact", noun)

    if machine.address_bits <= MAX_BUS_BITS:
        yield Family("bus/address", (numbered("address line", machine.address_bits),), address)
    yield Family("bus/data", (bits,), data)

"""Which two sites can be at fault together."""

from faults.sites import AddressLine, BusAddressLine, BusDataLine, CellBit, DataLine, Role, SelectLine, Site


def alike(sites: tuple[Site, ...]) -> str:
    """Return why two lines cannot touch or be exchanged, or ""."""
    one, other = sites
    if one.path == other.path:
        return "two different lines are needed"
    if _family(one.role) != _family(other.role):
        return f"{one.path} and {other.path} are not two lines of a kind"
    if isinstance(one.role, SelectLine) and one.role.way == "write":
        return "cells that are written but not cleared before are beyond this model"
    if isinstance(one.role, SelectLine) and (not one.role.mask or one.role.bits.bit_count() == 1):
        return f"the {one.noun} has no others beside it"
    return ""


def _family(role: Role) -> tuple[object, ...]:
    match role:
        case AddressLine():
            return ("address", role.store)
        case BusAddressLine():
            return ("bus address",)
        case BusDataLine():
            return ("bus data",)
        case DataLine():
            return ("data", role.store, role.region, role.way, role.side)
        case SelectLine():
            return ("select", role.store, role.mask, role.bits, role.way)
        case _:
            return (role,)


def cells_apart(sites: tuple[Site, ...]) -> str:
    """Return why one cell cannot act on the other, or ""."""
    one, other = (s.role for s in sites)
    assert isinstance(one, CellBit), "a cell"
    assert isinstance(other, CellBit), "a cell"
    if one.store != other.store:
        return "cells of two stores do not act on one another"
    if one == other:
        return "two different cells are needed"
    if one.cell == other.cell:
        return (
            "two bits of one word are written at once; only cells of different words act on one another here"
        )
    return ""

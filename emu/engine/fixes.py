"""Tables that tell which bit of a word a correcting code would mend."""

from emu.codes import check_bits, sec_ded_syndrome_fix
from emu.spec import MachineSpec, StoreSpec


def fix_offset(machine: MachineSpec, store: StoreSpec) -> int:
    """Return where the correction table of a store's code begins in ``tab``."""
    return fix_tables(machine)[0][store.data_bits]


def fix_tables(machine: MachineSpec) -> tuple[dict[int, int], list[int]]:
    """Return offsets by data bits, and all correction tables behind each other."""
    offsets: dict[int, int] = {}
    table: list[int] = []
    for store in machine.stores:
        if store.protection == "sec-ded" and store.data_bits not in offsets:
            offsets[store.data_bits] = len(table)
            table += sec_ded_syndrome_fix(store.data_bits)
            assert len(table) - offsets[store.data_bits] == 1 << check_bits("sec-ded", store.data_bits)
    return offsets, table

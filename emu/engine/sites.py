"""The places of a generated function where memory and ports are reached, for every variant of it."""

from attrs import define, field

from emu.engine.fixes import fix_offset
from emu.engine.layout import EVENT_KINDS, Layout
from emu.engine.lines import Lines
from emu.engine.variants import TABLES, Variant
from emu.spec import MachineSpec, StoreSpec, WindowSpec
from emu.words import mask

PEND = {"lamp": 0, "halt": 1, "restart": 2}
Key = tuple[object, ...]


@define
class Sites(Lines):
    """Writes memory reads and writes, port reads and writes, alarms and events."""

    layout: Layout = field(kw_only=True)
    variant: Variant = field(kw_only=True)
    outputs: int = 0  # output sites written
    events: int = 0  # event sites written

    @property
    def machine(self) -> MachineSpec:
        """The machine that is written down."""
        return self.layout.machine

    @property
    def planned(self) -> bool:
        """Whether every access goes through the whole plan."""
        return self.variant in {"full", "trace"}

    # --- events and alarms

    def event(
        self,
        kind: str,
        store: str,
        address: str,
        word: str,
        detail: object = 0,
        *,
        access: str = "st[ACCESS]",
    ) -> None:
        """Write an event, in the variant that traces."""
        if self.variant != "trace":
            return
        self.events += 1
        code = EVENT_KINDS.index(kind)
        self.line("if events < max_events:")
        self.indent()
        self.line(
            f"event(ev, events, {code}, steps, {access}, time, pc, {store}, {address}, {word}, {detail})"
        )
        self.line("events += 1")
        self.indent(-1)

    def alarm(self, name: str, store: str = "-1", address: str = "0") -> None:
        """Write the raising of an alarm."""
        action = {a.name: a.action for a in self.machine.alarms}[name]
        number = [a.name for a in self.machine.alarms].index(name)
        self.line(f"raise_alarm(st, {self.layout.alarm_at(name)}, time, {store}, {address}, pc)")
        self.event("alarm", store, address, "0", number)
        if PEND[action]:
            self.line(f"pend |= {PEND[action]}")

    # --- addresses

    def banks(self) -> str:
        """Return the arguments of ``place`` behind the address: the bank registers in use."""
        names = dict.fromkeys(w.bank for w in self.machine.windows if w.bank)
        return "".join(f", {self.register(name)}" for name in names)

    def register(self, name: str) -> str:
        """Return the text of a register."""
        index = [r.name for r in self.layout.singles].index(name)
        return f"r{index}_{name}" if name.isidentifier() and name.isascii() else f"r{index}"

    @property
    def everywhere(self) -> bool:
        """Whether every address lies in some window."""
        return covered(self.machine.windows) > mask(self.machine.address_bits)

    def placed(self, address: str) -> str:
        """Write the lines from a machine address to a flat cell; return its name."""
        cell = self.name()
        address = f"({address}) & {mask(self.machine.address_bits)}"
        if self.planned:
            self.line(f"x = {address}")
            self.line("if altering:")
            self.line("    begin(st, gates, dwell, time)")
            self.line("    m = 4 * st[MODE]")
            self.line("    x = on_bus(bus, modes[m + 2], modes[m + 3], x)")
            address = "x"
        elif self.variant == "profile":
            self.line(f"x = {address}")
            self.line("note_bus(buses, x, steps)")
            address = "x"
        self.line(f"{cell} = place({address}{self.banks()})")
        return cell

    def key(self, store: StoreSpec, what: str) -> Key:
        """Return what matters of a store at a site; stores that agree in it share their lines."""
        code = (store.data_bits, store.protection, store.cycle_ns)
        if what == "write":
            return (*code, store.bits, store.writable)
        depends = (
            store.destructive if self.variant == "cell" else store.bits if self.variant == "profile" else 0
        )
        corrected = store.corrected_alarm if store.protection == "sec-ded" else ""
        return (*code, store.alarm, corrected, depends)

    def groups(self, what: str) -> list[tuple[int, int, StoreSpec]]:
        """Return (first store, end of cells, a store) for runs of neighbouring stores that share lines."""
        found: list[tuple[int, int, StoreSpec]] = []
        for number, store in enumerate(self.machine.stores):
            end = self.layout.bases[number + 1]
            if found and self.key(found[-1][2], what) == self.key(store, what):
                found[-1] = (found[-1][0], end, found[-1][2])
            else:
                found.append((number, end, store))
        return found

    def by_kind(self, cell: str, what: str, word: str) -> None:
        """Write the lines of a fetch, read or write, under a condition on the cell where stores differ."""
        groups = self.groups(what)
        for position, (first, end, store) in enumerate(groups):
            last = position == len(groups) - 1
            if len(groups) > 1:
                self.line("else:" if last else f"{'el' if position else ''}if {cell} < {end}:")
                self.indent()
            single = end == self.layout.bases[first + 1]
            number = str(first) if single else f"store_of({cell})"
            before = len(self.lines)
            if what == "write":
                self._writing(cell, store, number, word)
            else:
                self._read(what, cell, store, number, word)
            if len(self.lines) == before:
                self.line("pass")
            if len(groups) > 1:
                self.indent(-1)

    def where(self, cell: str, number: str) -> tuple[str, str]:
        """Return the text of store number and address of a flat cell."""
        if number.isdigit():
            base = self.layout.bases[int(number)]
            return number, f"{cell} - {base}" if base else cell
        return number, f"{cell} - base_of({cell})"

    # --- reading

    def access(self, address: str, what: str) -> str:
        """Write a read or fetch; return the name that holds the data."""
        cell, word = self.placed(address), self.name()
        if what == "read":
            self.line("reads += 1")
        if self.everywhere:
            self.by_kind(cell, what, word)
            return word
        self.line(f"if {cell} >= 0:")
        self.indent()
        self.by_kind(cell, what, word)
        self.indent(-1)
        self.line("else:")
        self.indent()
        self._unmapped()
        self.line(f"{word} = 0")
        self.indent(-1)
        return word

    def load(self, address: str) -> str:
        """Write a read of memory."""
        return self.access(address, "read")

    def _unmapped(self) -> None:
        if self.machine.unmapped_alarm:
            self.alarm(self.machine.unmapped_alarm)
        if not self.planned:
            self.line("unmapped += 1")

    def _read(self, what: str, cell: str, store: StoreSpec, number: str, word: str) -> None:
        stored = self.name()
        self._stored(cell, store, number, stored)
        self.line(f"{word} = {stored} & {mask(store.data_bits)}")
        fix = self.name()
        if store.protection == "sec-ded":
            self.line(f"{fix} = syndrome_{store.data_bits}({stored})")
            self.line(f"if {fix}:")
            self.indent()
            self.line(f"{fix} = tab[{fix} + {fix_offset(self.machine, store)}]")
            self.line(f"if {fix} >= 0:")
            self.line(f"    {word} = ({stored} ^ (1 << {fix})) & {mask(store.data_bits)}")
            self.line("else:")
            self.line(f"    {fix} = 99")
            self.indent(-1)
            self.line("else:")
            self.line(f"    {fix} = -1")
        at = self.where(cell, number)
        self.event(what, *at, word, access="st[ACCESS] - 1")
        self._checked(store, stored, fix, at)
        if store.cycle_ns:
            self.line(f"time += {store.cycle_ns}")

    def _checked(self, store: StoreSpec, stored: str, fix: str, at: tuple[str, str]) -> None:
        if store.protection in {"odd", "even"} and store.alarm:
            self.line(f"if (ctpop({stored}) & 1) == {int(store.protection == 'even')}:")
            self._alarm_inside(store.alarm, at)
        elif store.protection == "sec-ded":
            if store.corrected_alarm:
                self.line(f"if {fix} >= 0 and {fix} != 99:")
                self._alarm_inside(store.corrected_alarm, at)
            if store.alarm:
                self.line(f"if {fix} == 99:")
                self._alarm_inside(store.alarm, at)

    def _alarm_inside(self, name: str, at: tuple[str, str]) -> None:
        self.indent()
        self.alarm(name, *at)
        self.indent(-1)

    def _stored(self, cell: str, store: StoreSpec, number: str, stored: str) -> None:
        """Write how the stored word is read in this variant."""
        cells = self.layout.bases[-1]
        if self.planned:
            self.line(f"if fl[{cell}]:")
            self.line(
                f"    {stored} = read_planned(st, mem, {TABLES}, modes, rules, {cells}, {number}, {cell})"
            )
            self.line("else:")
            self.line(f"    {stored} = mem[{cell}]")
            number, address = self.where(cell, number)
            self.line(f"    passed(st, {address}, {stored})")
            self.line(f"    st[LAST_READ + {number}] = {stored}")
            return
        self.line(f"{stored} = mem[{cell}]")
        if self.variant == "cell":
            self.line(f"if {cell} == fcell:")
            self.line(f"    {stored} = ({stored} & out_and) | out_or")
            if store.destructive:
                self.line(f"    set_noted(st, mem, undo, stamp, {cell}, ({stored} & in_and) | in_or)")
        elif self.variant == "tables":
            self.line(f"if fl[{cell}]:")
            self.line(f"    {stored} = read_tables(st, mem, {TABLES}, {number}, {cell})")
        elif self.variant == "profile":
            self._profiled(cell, store, number, stored)

    def _profiled(self, cell: str, store: StoreSpec, number: str, stored: str) -> None:
        cells, full = self.layout.bases[-1], mask(store.bits)
        number, address = self.where(cell, number)
        self.line(f"note_read(seen, firsts, {cells}, {self.wide}, {cell}, {stored}, {full}, steps)")
        self.line(f"st[LAST_WORD] = {stored}")
        self.line(f"st[LAST_ADDRESS] = {address}")
        self.line(f"st[LAST_READ + {number}] = {stored}")

    @property
    def wide(self) -> int:
        """Bits of the widest stored word."""
        return max(store.bits for store in self.machine.stores)

    # --- writing

    def store(self, address: str, value: str) -> None:
        """Write a write to memory."""
        if not value.isidentifier():
            name = self.name()
            self.line(f"{name} = {value}")
            value = name
        cell = self.placed(address)
        if not self.everywhere:
            self.line(f"if {cell} >= 0:")
            self.indent()
        self.by_kind(cell, "write", value)
        self.line("writes += 1")
        if not self.everywhere:
            self.indent(-1)
            if self.machine.unmapped_alarm:
                self.line("else:")
                self.indent()
                self.alarm(self.machine.unmapped_alarm)
                self.indent(-1)

    def _writing(self, cell: str, store: StoreSpec, number: str, value: str) -> None:
        encoded, bits = value, store.data_bits
        if store.protection in {"odd", "even"}:
            flip = " ^ 1" if store.protection == "odd" else ""
            encoded = f"{value} | (((ctpop({value}) & 1){flip}) << {bits})"
        elif store.protection == "sec-ded":
            encoded = f"{value} | (syndrome_{bits}({value}) << {bits})"
        self.event("write", *self.where(cell, number), value)
        if self.planned:
            self._written_under_plan(cell, store, number, encoded)
        elif self.variant == "profile":
            self._written_in_profile(cell, store, number, encoded)
        elif store.writable:
            self._written(cell, number, encoded)
        if store.cycle_ns:
            self.line(f"time += {store.cycle_ns}")

    def _written_under_plan(self, cell: str, store: StoreSpec, number: str, encoded: str) -> None:
        cells, new = self.layout.bases[-1], self.name()
        self.line(f"{new} = {encoded}")
        self.line(f"if fl[{cell}]:")
        self.line(
            f"    write_planned(st, mem, ri, rows, mi, masks, shapes, modes, rules, {cells}, {number}, "
            f"{cell}, {new})"
        )
        self.line("else:")
        self.line(f"    passed(st, {self.where(cell, number)[1]}, {new})")
        if store.writable:
            self.line(f"    set_cell(st, mem, {cell}, {new})")

    def _written(self, cell: str, number: str, encoded: str) -> None:
        if self.variant == "cell":
            new = self.name()
            self.line(f"{new} = {encoded}")
            self.line(f"if {cell} == fcell:")
            self.line(f"    {new} = ({new} & in_and) | in_or")
            self.line(f"set_noted(st, mem, undo, stamp, {cell}, {new})")
        elif self.variant == "tables":
            self.line(f"if fl[{cell}]:")
            self.line(f"    write_tables(st, mem, ri, rows, mi, masks, shapes, {number}, {cell}, {encoded})")
            self.line("else:")
            self.line(f"    set_cell(st, mem, {cell}, {encoded})")
        else:
            self.line(f"set_cell(st, mem, {cell}, {encoded})")

    def _written_in_profile(self, cell: str, store: StoreSpec, number: str, encoded: str) -> None:
        cells, full, new = self.layout.bases[-1], mask(store.bits), self.name()
        self.line(f"{new} = {encoded}")
        old = f"mem[{cell}]" if store.writable else new
        self.line(f"note_write(seen, firsts, {cells}, {self.wide}, {cell}, {old}, {new}, {full}, steps)")
        self.line(f"st[LAST_WORD] = {new}")
        self.line(f"st[LAST_ADDRESS] = {self.where(cell, number)[1]}")
        if store.writable:
            self.line(f"set_cell(st, mem, {cell}, {new})")

    # --- ports

    def port_read(self, number: str) -> str:
        """Write a port read; return the name that holds the word."""
        word = self.name()
        self.line(f"{word} = {number}")
        chosen = self.name()
        self.line(f"{chosen} = 0")
        for index, port in enumerate(self.layout.inputs):
            at = self.layout.at["OFFERED"] + index
            self.line(f"{'el' if index else ''}if {word} == {port.number}:")
            self.line(f"    {chosen} = offered(st, {at}, inp, {index})")
        return chosen

    def port_write(self, number: str, value: str) -> None:
        """Write a port write."""
        port_name, word = self.name(), self.name()
        self.line(f"{port_name} = {number}")
        self.line(f"{word} = {value}")
        for index, port in enumerate(self.layout.outputs):
            self.line(f"{'el' if index else ''}if {port_name} == {port.number}:")
            self.indent()
            self._output(port.number, f"{word} & {mask(port.bits)}")
            self.indent(-1)

    def _output(self, number: int, value: str) -> None:
        self.outputs += 1
        sent = self.name()
        self.line(f"{sent} = {value}")
        self.line("if outputs < output_room:")
        self.line("    out[3 * outputs] = time")
        self.line(f"    out[3 * outputs + 1] = {number}")
        self.line(f"    out[3 * outputs + 2] = {sent}")
        self.line("outputs += 1")
        self.line(f"st[OUTPUT_HASH] = mix(st[OUTPUT_HASH] ^ {number}, {sent})")
        self.line("lim = 0")
        self.event("output", "-1", str(number), sent)


def covered(windows: tuple[WindowSpec, ...]) -> int:
    """Return the first address from 0 on that no window covers."""
    end = 0
    for window in sorted(windows, key=lambda w: w.first):
        if window.first <= end <= window.last:
            end = window.last + 1
    return end

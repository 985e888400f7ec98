"""Rules across the tables of a machine file: names are defined, values fit, windows do not collide."""

from collections.abc import Iterable
from typing import Any

from attrs import define

from emu.crossrules import CLASH, DOES_NOT_FIT, TAKEN, UNDEFINED, article
from emu.errors import Note, nearest
from emu.fromtoml import key_path
from emu.storerules import StoreRules
from emu.words import mask


@define
class CrossCheck(StoreRules):
    """Checks one machine file; ``run`` reports into ``problems``."""

    def run(self) -> None:
        """Check everything but encodings and behaviours."""
        self._names()
        self._registers()
        self.check_stores()
        self._fetch()
        self._alarms()
        self._ports_and_lamps()
        self._fields()

    # -- names and registers

    def _names(self) -> None:
        for register in self.table.registers:
            first: dict[str, int] = {}
            for at, name in enumerate(register.names):
                if first.setdefault(name, at) != at:
                    message = f"the registers of a file have different names; {name!r} is given again"
                    self.report(TAKEN, message, register, "names", at)
        for declared in self.table.fields:
            register_of_that_name = self.registers.get(declared.letter)
            if register_of_that_name is not None:
                place = self.document.place(key_path(register_of_that_name, "name"))
                message = f"a name stands for one thing; {declared.letter!r} is a register and a letter"
                note = Note("the register is here", place)
                self.report(TAKEN, message, declared, "letter", notes=(note,))

    def _registers(self) -> None:
        for register in self.registers.values():
            self.fits(register.reset, mask(register.bits), f"the reset value of {register.name!r}", register,
                      "reset")  # fmt: skip
            if register.zero is not None and not register.count:
                self.report(CLASH, "'zero' goes with 'count': a single register is not hard-wired", register,
                            "zero")  # fmt: skip
            elif register.zero is not None:
                self.fits(
                    register.zero, register.count - 1, "the index of the zero", register, "zero", decimal=True
                )
            if register.names and len(register.names) != register.count:
                given = f"{register.count} registers, {len(register.names)} names"
                message = f"a file has a name for each register; {given}"
                self.report(CLASH, message, register, "names")

    # -- fetching, alarms, timers

    def _fetch(self) -> None:
        fetch, address = self.table.fetch, self.table.address
        counter = self.register(fetch.counter, fetch, "counter")
        if counter is not None and counter.bits > address.bits:
            message = (
                f"the program counter is no wider than an address, {address.bits} bits; "
                f"{counter.name!r} has {counter.bits}"
            )
            self.report(DOES_NOT_FIT, message, fetch, "counter")
        if counter is not None and counter.reset:
            message = f"the counter begins at 'start'; {counter.name!r} has a reset value too"
            self.report(CLASH, message, counter, "reset", hint="leave 'reset' out")
        limit = mask(min(counter.bits, address.bits) if counter else address.bits)
        steps = self.fits(fetch.step, limit, "what the counter moves by", fetch, "step")
        if self.fits(fetch.start, limit, "the first address", fetch, "start"):
            steps = steps and self._instructions_at(fetch.start, fetch, "start")
        restart = self.table.restart
        what = "the address of a restart"
        if restart is not None and self.fits(restart.address, limit, what, restart, "address") and steps:
            self._instructions_at(restart.address, restart, "address")
        what, _, name = fetch.unknown.partition(" ")
        if name:
            self._unknown(what, name)
        if address.unmapped_alarm:
            self.defined(address.unmapped_alarm, "alarm", address, "unmapped_alarm")

    def _unknown(self, kind: str, name: str) -> None:
        known = self.written(kind)
        if name not in known:
            message = f"'unknown' names {article(kind)} {kind} of the machine; got {name!r}"
            self.report(UNDEFINED, message, self.table.fetch, "unknown", hint=nearest(name, known))

    def _instructions_at(self, address: int, owner: Any, attribute: str) -> bool:
        """Check that instructions can be fetched from an address; False if ``step`` is not their size."""
        step = self.table.fetch.step
        window = next((w for w in self.table.windows if w.first <= address <= w.last), None)
        if window is None:
            if not self._window_errors():
                message = f"instructions come from a window; {self.number(address)} lies in none"
                self.report(DOES_NOT_FIT, message, owner, attribute)
        elif (window.last - window.first + 1) % window.unit:
            pass  # said of the window
        elif window.unit != step:
            given = f"at {self.number(address)} a word covers {window.unit}, 'step' is {step}"
            message = f"the counter moves by the addresses of one word; {given}"
            hint = f"write step = {window.unit}, or unit = {step}"
            self.report(CLASH, message, self.table.fetch, "step", hint=hint)
            return False
        elif (address - window.first) % window.unit:
            given = self.number(address)
            message = f"an instruction begins at a whole word, every {step} addresses; got {given}"
            self.report(DOES_NOT_FIT, message, owner, attribute)
        return True

    def _window_errors(self) -> bool:
        """Tell whether some window could not be read, so that nothing can be said of addresses."""
        return len(self.document.root["window"]) != len(self.table.windows)

    def _alarms(self) -> None:
        table = self.table
        for alarm in table.alarms:
            if alarm.action == "restart" and "restart" not in self.document.root:
                message = f"an alarm that restarts needs a [restart] table; {alarm.name!r} restarts"
                self.report(UNDEFINED, message, alarm, "action", hint="add [restart] with its address")
        if table.restart is not None:
            for at, name in enumerate(table.restart.clears):
                self.defined(name, "register", table.restart, "clears", at)
                if name == table.fetch.counter and name in self.registers and not self.registers[name].count:
                    message = f"a restart sets the program counter to its address; 'clears' names {name!r}"
                    self.report(CLASH, message, table.restart, "clears", at, hint=f"leave {name!r} out")
        if table.watchdog is not None:
            self._watchdog(table.watchdog.alarm)
        for timer in table.timers:
            enable = self.register(timer.enable, timer, "enable") if timer.enable else None
            if enable is not None and enable.bits != 1:
                message = f"'enable' names a register of 1 bit; {enable.name!r} has {enable.bits}"
                self.report(CLASH, message, timer, "enable")

    def _watchdog(self, name: str) -> None:
        watchdog = self.table.watchdog
        if self.defined(name, "alarm", watchdog, "alarm"):
            action = next((a.action for a in self.table.alarms if a.name == name), "")
            if action == "lamp":
                message = f"a watchdog halts or restarts; its alarm {name!r} only lights a lamp"
                self.report(CLASH, message, watchdog, "alarm", hint=f"give {name!r} another action")

    # -- ports, lamps, fields

    def _ports_and_lamps(self) -> None:
        word = self.table.word.bits
        numbers: dict[tuple[int, str], Any] = {}
        for port in self.table.ports:
            self.fits(port.bits, word, "the width of a port, as of a word,", port, "bits", decimal=True)
            earlier = numbers.setdefault((port.number, port.direction), port)
            if earlier is not port:
                place = self.document.place(key_path(earlier, "number"))
                message = f"a number belongs to one {port.direction}put port; {port.number} belongs to two"
                self.report(TAKEN, message, port, "number", notes=(Note("first used here", place),))
        for lamp in self.table.lamps:
            self._lamp(lamp)

    def _lamp(self, lamp: Any) -> None:
        what, colon, _ = lamp.shows.partition(":")
        if lamp.shows == "restarts":
            return
        if what == "alarm" and colon:
            known: Iterable[str] = sorted(f"alarm:{alarm}" for alarm in self.written("alarm"))
        else:
            files = {register.name for register in self.table.registers if register.count}
            known = sorted(self.written("register") - files)
        if lamp.shows not in known:
            message = f'a lamp shows a register, "restarts" or "alarm:NAME"; got {lamp.shows!r}'
            self.report(UNDEFINED, message, lamp, "shows", hint=nearest(lamp.shows, known))

    def _fields(self) -> None:
        for declared in self.table.fields:
            if declared.kind == "register":
                if not declared.file:
                    message = f"a field of kind register names its file; {declared.letter!r} names none"
                    self.report(CLASH, message, declared, "kind", hint='add file = "..."')
                elif self.defined(declared.file, "register", declared, "file"):
                    register = self.registers.get(declared.file)
                    if register is not None and not register.count:
                        message = f"'file' names a file of registers; {declared.file!r} is a single one"
                        self.report(CLASH, message, declared, "file")
            elif declared.file:
                message = f"'file' goes with kind register; the kind is {declared.kind}"
                self.report(CLASH, message, declared, "file")
            if declared.scale != 1 and declared.kind not in {"relative", "signed"}:
                message = f"'scale' goes with kinds relative and signed; the kind is {declared.kind}"
                self.report(CLASH, message, declared, "scale")

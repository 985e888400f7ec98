"""Memories at the level of their lines, cores and chips: a slow model to hold the lowered plans to.

Written from how such memories work, and importing nothing of the project: faults come as text, addresses are
lists of levels, every core is asked whether it switches, every wire whether it carries a pulse.
"""

from collections.abc import Callable


class Broken:
    """The faults, by site: ``{"rope/inhibit/2/1": {"open"}}`` and pairs ``(site, site, kind)``."""

    def __init__(self, text: str) -> None:
        self.single: dict[str, set[str]] = {}
        self.pairs: list[tuple[str, str, str]] = []
        for one in text.split(" & "):
            where, kind = one.split(":")
            first, *rest = where.split("+")
            if rest:
                parts, tail = first.split("/"), rest[0].split("/")
                second = "/".join(parts[: len(parts) - len(tail)] + tail)
                self.pairs.append((first, second, kind))
            else:
                self.single.setdefault(first, set()).add(kind)

    def has(self, site: str, *kinds: str) -> bool:
        return bool(self.single.get(site, set()) & set(kinds))

    def level(self, site: str, level: int, floats: int) -> int:
        """Return the level of a line that should have ``level``."""
        if self.has(site, "stuck-0"):
            return 0
        if self.has(site, "stuck-1"):
            return 1
        if self.has(site, "open"):
            return floats
        return level

    def lines(self, prefix: str, levels: dict[str, int], floats: int) -> dict[str, int]:
        """Return the levels of a family of lines behind their faults, in the order of the lines."""
        found = dict(levels)
        for name in levels:
            found[name] = self.level(f"{prefix}/{name}", found[name], floats)
            for first, second, kind in self.pairs:
                if first != f"{prefix}/{name}":
                    continue
                other = second[len(prefix) + 1 :]
                a, b = found[name], found[other]
                if kind == "swapped":
                    found[name], found[other] = b, a
                else:
                    found[name] = found[other] = a | b if kind == "shorted-or" else a & b
        return found


class Memory:
    """What all have in common: a store ``name`` of ``words`` words; ``bits`` names the stored bits, by weight."""

    def __init__(self, name: str, words: int, bits: list[str], faults: str, cells: list[int]) -> None:
        self.name, self.words, self.bits = name, words, bits
        self.broken = Broken(faults)
        self.bus = dict.fromkeys(bits, 0)
        self.gave = dict.fromkeys(bits, 0)  # what the cells gave at the reading before this one
        self.giving = dict.fromkeys(bits, 0)
        self.lines = max(1, (words - 1).bit_length())
        self.cells = list(cells)

    # -- to and from the processor

    def read(self, address: int) -> int:
        self.giving = dict.fromkeys(self.bits, 0)
        word = self.from_bits(self.deliver(self.sense(self.arriving(address))))
        self.gave = self.giving
        return word

    def write(self, address: int, word: int) -> None:
        levels = {b: word >> i & 1 for i, b in enumerate(self.bits)}
        levels = self.data_lines(levels, "both")
        self.bus = dict(levels)
        arrived = self.arriving(address)
        self.store(arrived, levels)

    def arriving(self, address: int) -> int:
        levels = {str(i): address >> i & 1 for i in range(self.lines)}
        levels = self.broken.lines("bus/address", levels, 1)
        levels = self.broken.lines(f"{self.name}/address", levels, 1)
        return sum(level << int(i) for i, level in levels.items())

    def data_lines(self, levels: dict[str, int], way: str) -> dict[str, int]:
        paths = [f"{self.name}/data", "bus/data"]
        for path in paths if way == "read" else paths[::-1]:
            levels = self.broken.lines(path, levels, 0)
        return levels

    def deliver(self, levels: dict[str, int]) -> dict[str, int]:
        levels = self.data_lines(levels, "read")
        for b in self.bits:
            if any(
                self.broken.has(f"{p}/{b}", "echo")
                for p in (f"{self.name}/data", "bus/data", f"{self.name}/output")
            ):
                levels[b] = self.bus[b]
        if self.broken.has(f"{self.name}/unit", "missed"):
            levels = dict.fromkeys(self.bits, 0)
        if self.broken.has(f"{self.name}/unit", "stale"):
            levels = dict(self.bus)
        if self.broken.has(f"{self.name}/unit", "late"):
            levels = dict(self.gave)
        self.bus = dict(levels)
        return levels

    def from_bits(self, levels: dict[str, int]) -> int:
        return sum(levels[b] << i for i, b in enumerate(self.bits))

    def give(self, levels: dict[str, int]) -> None:
        """Note what the cells give, before anything on the way can be weak or late."""
        self.giving = {b: self.giving[b] | levels[b] for b in self.bits}

    def weak(self, site: str, bit: str, level: int, worst: bool | None) -> int:
        """Return the level behind a weak wire or amplifier; ``worst`` None: there is no winding."""
        for kind, lost in (("weak-ones", 1), ("weak-zeros", 0)):
            if self.broken.has(site, kind) and level == lost:
                weak = worst if worst is not None else self.gave[bit] == 1 - lost
                level = 1 - lost if weak else level
        return level

    def active(self, family: str, count: int, wanted: int) -> list[bool]:
        """Return which of a family of select lines are active when ``wanted`` is asked for."""
        on = [i == wanted for i in range(count)]
        for first, second, kind in self.broken.pairs:
            if first.rsplit("/", 1)[0] == f"{self.name}/{family}":
                i, j = int(first.rsplit("/", 1)[1]), int(second.rsplit("/", 1)[1])
                both = on[i] or on[j]
                on[i] = on[j] = both and kind == "shorted-or"
        for i in range(count):
            site = f"{self.name}/{family}/{i}"
            on[i] = (on[i] or self.broken.has(site, "always-on")) and not self.broken.has(
                site, "open", "dead"
            )
        return on

    def sense(self, address: int) -> dict[str, int]:
        raise NotImplementedError

    def store(self, address: int, levels: dict[str, int]) -> None:
        raise NotImplementedError


class Woven(Memory):
    """A rope: address = core + strand * cores + module * cores * strands."""

    def __init__(self, name, words, bits, faults, cells, *, core_bits, strands, modules, parity_pair) -> None:
        super().__init__(name, words, bits, faults, cells)
        self.core_bits, self.strands, self.modules, self.pair = core_bits, strands, modules, parity_pair

    def store(self, address: int, levels: dict[str, int]) -> None:
        pass

    def blocked(self, module: int, core: int, asked: int) -> bool:
        """Whether some inhibit line that carries current blocks the core."""
        tests: list[tuple[str, Callable[[int], int]]] = [
            (str(b), lambda n, b=b: n >> b & 1) for b in range(self.core_bits)
        ]
        if self.pair:
            tests.append(("parity", lambda n: n.bit_count() % 2))
        for name, value in tests:
            for level in (0, 1):
                sites = [
                    f"{self.name}/inhibit/{name}/{level}",
                    f"{self.name}/winding/{module}/{name}/{level}",
                ]
                current = value(asked) == level and not any(self.broken.has(s, "open") for s in sites)
                current = current or any(self.broken.has(s, "always-on") for s in sites)
                if current and value(core) != level:
                    return True
        return False

    def switching(self, module: int, asked: int) -> list[int]:
        if any(self.broken.has(f"{self.name}/{t}/{module}", "open", "dead") for t in ("set", "reset")):
            return []
        return [
            core
            for core in range(1 << self.core_bits)
            if not self.blocked(module, core, asked)
            and not self.broken.has(f"{self.name}/core/{module}/{core}", "dead")
        ]

    def sense(self, address: int) -> dict[str, int]:
        total = dict.fromkeys(self.bits, 0)
        cores = 1 << self.core_bits
        asked, upper = address % cores, address // cores
        strand, module = (upper % self.strands, upper // self.strands) if self.modules > 1 else (upper, 0)
        modules = self.active("module", self.modules, module) if self.modules > 1 else [True]
        strands = self.active("strand", self.strands, strand) if self.strands > 1 else [True]
        for m in range(self.modules):
            for s in range(self.strands):
                if not (modules[m] and strands[s]):
                    continue
                pulses = self.wires(m, s, self.switching(m, asked))
                total = {b: total[b] | pulses[b] for b in self.bits}
        return self.amplified(total)

    def wires(self, module: int, strand: int, cores: list[int]) -> dict[str, int]:
        path = f"{self.name}/wire/{module}/{strand}"
        pulses = {}
        for i, b in enumerate(self.bits):
            threaded = [
                self.cells[core + (strand + module * self.strands) * (1 << self.core_bits)] >> i & 1
                for core in cores
            ]
            pulses[b] = int(any(threaded))
        pulses = self.broken.lines(path, pulses, 0)
        self.give(pulses)
        return {b: self.weak(f"{path}/{b}", b, level, None) for b, level in pulses.items()}

    def amplified(self, levels: dict[str, int]) -> dict[str, int]:
        path = f"{self.name}/sense"
        if self.broken.has(f"{self.name}/strobe", "mistimed-early", "mistimed-late", "dead"):
            self.giving = dict.fromkeys(self.bits, 0)  # the amplifiers were asked when nothing was there
        else:
            self.giving = self.broken.lines(path, self.giving, 0)
        if self.broken.has(f"{self.name}/strobe", "mistimed-early", "mistimed-late"):
            levels = dict.fromkeys(self.bits, 0)
        levels = self.broken.lines(path, levels, 0)
        levels = {b: self.weak(f"{path}/{b}", b, level, None) for b, level in levels.items()}
        if self.broken.has(f"{self.name}/strobe", "dead"):
            return dict.fromkeys(self.bits, 0)
        return levels


class Coincident(Memory):
    """Core planes: address = x + y * columns. Sections are runs of Y lines; the winding is a chequerboard."""

    def __init__(self, name, words, bits, faults, cells, *, columns, rows, banks, sections) -> None:
        super().__init__(name, words, bits, faults, cells)
        self.columns, self.rows, self.banks, self.sections = columns, rows, banks, sections
        self.planes = {
            b: [[cells[x + y * columns] >> i & 1 for y in range(rows)] for x in range(columns)]
            for i, b in enumerate(bits)
        }

    def axis(self, axis: str, count: int, wanted: int) -> tuple[list[bool], list[bool]]:
        """Return which lines carry current in the read half cycle and in the write half cycle."""
        # a line gets current through the driver of each bank that belongs to it, then through its own wire
        driven = [True] * count
        written = [True] * count
        for letter, (low, size) in self.banks[axis].items():
            group = wanted // low % size
            drivers = self.active(f"{axis}-driver-{letter}", size, group)
            for line in range(count):
                mine = line // low % size
                driven[line] &= drivers[mine]
                written[line] &= not self.broken.has(
                    f"{self.name}/{axis}-write-{letter}/{mine}", "dead", "open"
                )
        rest = self.rest(axis, wanted)
        driven = [on and self.rest(axis, line) == rest for line, on in enumerate(driven)]
        lines = self.wires_of(axis, count, driven)
        return lines, [a and b for a, b in zip(lines, written, strict=True)]

    def rest(self, axis: str, line: int) -> int:
        """Return what of the number of a line no bank of drivers decodes."""
        for low, size in self.banks[axis].values():
            line -= (line // low % size) * low
        return line

    def wires_of(self, axis: str, count: int, driven: list[bool]) -> list[bool]:
        on = list(driven)
        for first, second, kind in self.broken.pairs:
            if first.rsplit("/", 1)[0] == f"{self.name}/{axis}":
                i, j = int(first.rsplit("/", 1)[1]), int(second.rsplit("/", 1)[1])
                both = on[i] or on[j]
                on[i] = on[j] = both and kind == "shorted-or"
        for i in range(count):
            site = f"{self.name}/{axis}/{i}"
            on[i] = (on[i] or self.broken.has(site, "always-on")) and not self.broken.has(
                site, "open", "dead"
            )
        return on

    def currents(self, address: int) -> tuple[list[tuple[int, int]], list[tuple[int, int]]]:
        x, y = address % self.columns, address // self.columns
        (xr, xw), (yr, yw) = self.axis("x", self.columns, x), self.axis("y", self.rows, y)
        crossings = [(i, j) for i in range(self.columns) for j in range(self.rows)]
        return [c for c in crossings if xr[c[0]] and yr[c[1]]], [
            c for c in crossings if xw[c[0]] and yw[c[1]]
        ]

    def section(self, y: int) -> int:
        return y * self.sections // self.rows

    def place(self, family: str, section: int, bit: str = "") -> str:
        parts = [self.name, family, *([str(section)] if self.sections > 1 else []), *([bit] if bit else [])]
        return "/".join(parts)

    def read_half(self, crossings: list[tuple[int, int]]) -> dict[str, int]:
        """Clear the cores and return what the amplifiers gave."""
        sensed = dict.fromkeys(self.bits, 0)
        for section in range(self.sections):
            here = [c for c in crossings if self.section(c[1]) == section]
            pulses: dict[str, int] = {}
            for b in self.bits:
                seen = [self.planes[b][x][y] and self.noticed(b, section, x, y) for x, y in here]
                noise = [self.invented(b, section, x, y) for x, y in here]
                pulses[b] = int(any(seen) or any(noise))
            prefix = self.place("sense", section)
            pulses = self.broken.lines(prefix, pulses, 0)
            looked = bool(here) or self.sections == 1
            for b in self.bits:
                if looked and not self.broken.has(self.place("strobe", section), "dead"):
                    sensed[b] |= pulses[b]
        for b in self.bits:
            for x, y in crossings:
                self.planes[b][x][y] = 0
        self.give(sensed)
        return sensed

    def noticed(self, bit: str, section: int, x: int, y: int) -> bool:
        wrong_way = (x + y) % 2 == 1
        late = self.broken.has(self.place("strobe", section), "mistimed-early", "mistimed-late")
        return not (wrong_way and (late or self.broken.has(self.place("sense", section, bit), "weak-ones")))

    def invented(self, bit: str, section: int, x: int, y: int) -> bool:
        return (x + y) % 2 == 1 and self.broken.has(self.place("sense", section, bit), "weak-zeros")

    def write_half(self, crossings: list[tuple[int, int]], levels: dict[str, int]) -> None:
        for b in self.bits:
            for x, y in crossings:
                section = self.section(y)
                inhibit = self.place("inhibit", section, b)
                held = levels[b] == 0 and not self.broken.has(inhibit, "open")
                held = held or self.broken.has(inhibit, "always-on")
                if not held and not self.broken.has(self.place("rewrite", section), "dead"):
                    self.planes[b][x][y] = 1

    def sense(self, address: int) -> dict[str, int]:
        reading, writing = self.currents(address)
        sensed = self.read_half(reading)
        self.write_half(writing, sensed)
        return sensed

    def store(self, address: int, levels: dict[str, int]) -> None:
        reading, writing = self.currents(address)
        self.read_half(reading)
        self.write_half(writing, levels)


class Chips(Memory):
    """Rows of chips of ``lines`` x ``columns`` cells: address = column + line * columns + row * size."""

    def __init__(
        self, name, words, bits, faults, cells, *, lines, columns, rows, multiplexed, undriven, inverted=0
    ) -> None:
        super().__init__(name, words, bits, faults, cells)
        self.line_count, self.column_count, self.rows = lines, columns, rows
        self.multiplexed, self.undriven, self.inverted = multiplexed, undriven, inverted
        self.size = lines * columns
        self.chip = {
            (r, b): [cells[a + r * self.size] >> i & 1 for a in range(self.size)]
            for r in range(rows)
            for i, b in enumerate(bits)
        }

    def selected(self, address: int) -> list[bool]:
        return self.active("row", self.rows, address // self.size) if self.rows > 1 else [True]

    def inside(self, row: int, bit: str, address: int) -> tuple[int, int]:
        """Return the line and the column that the chip finds on its legs."""
        column, line = address % self.column_count, address // self.column_count % self.line_count
        column_bits = (self.column_count - 1).bit_length()
        line_bits = (self.line_count - 1).bit_length()
        path = f"{self.name}/leg/{row}/{bit}"
        gone = [
            k
            for k, kind in ((1, "small-half"), (2, "small-quarter"))
            if self.broken.has(f"{self.name}/chip/{row}/{bit}", kind)
        ]
        legs = line_bits if self.multiplexed else line_bits + column_bits
        missing = {str(legs - 1 - i) for k in gone for i in range(k)}
        times = [line, column] if self.multiplexed else [address % self.size]
        brought = []
        for value in times:
            levels = self.broken.lines(path, {str(i): value >> i & 1 for i in range(legs)}, 1)
            brought.append(sum(level << int(i) for i, level in levels.items() if i not in missing))
        if self.multiplexed:
            return brought[0], brought[1]
        return brought[0] // self.column_count, brought[0] % self.column_count

    def output(self, row: int, bit: str, address: int) -> int | None:
        """Return what a selected chip drives, None for nothing."""
        site = f"{self.name}/chip/{row}/{bit}"
        if self.broken.has(site, "dead", "echo"):
            return None
        line, column = self.inside(row, bit, address)
        level = self.chip[row, bit][column + line * self.column_count]
        for family, index in (("inside-line", line), ("inside-column", column)):
            if self.broken.has(f"{self.name}/{family}/{row}/{bit}/{index}", "dead"):
                level = 0
        if self.broken.has(f"{self.name}/refresh/{row}", "faded"):
            level = (address & self.inverted).bit_count() % 2  # the charge is gone; inverted cells give a 1
        return self.broken.level(site, level, 0)

    def sense(self, address: int) -> dict[str, int]:
        found = {}
        rows = self.selected(address)
        self.unsettled: set[str] = set()
        for b in self.bits:
            driven = [self.output(r, b, address) for r in range(self.rows) if rows[r]]
            row = address // self.size
            echo = address < self.words and self.broken.has(f"{self.name}/row/{row}", "echo")
            real = [] if echo else [d for d in driven if d is not None]
            idle = {"zeros": 0, "ones": 1, "residue": 0}[self.undriven]
            asked = [r for r in range(self.rows) if rows[r] or r == row]
            missing = echo or any(self.broken.has(f"{self.name}/chip/{r}/{b}", "echo") for r in asked)
            if not real and (missing or self.undriven == "residue"):
                self.unsettled.add(b)
            found[b] = int(any(real)) if real else idle
        path = f"{self.name}/output"
        found = self.broken.lines(path, found, 0)
        self.give(found)
        return {b: self.weak(f"{path}/{b}", b, level, None) for b, level in found.items()}

    def deliver(self, levels: dict[str, int]) -> dict[str, int]:
        levels = {b: self.bus[b] if b in self.unsettled else v for b, v in levels.items()}
        return super().deliver(levels)

    def store(self, address: int, levels: dict[str, int]) -> None:
        levels = self.broken.lines(f"{self.name}/input", levels, 0)
        rows = self.selected(address)
        for r in range(self.rows):
            for b in self.bits:
                if rows[r]:
                    line, column = self.inside(r, b, address)
                    self.chip[r, b][column + line * self.column_count] = levels[b]

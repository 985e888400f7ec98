"""sandpiper by hand: a second description of the machine, written from its page, importing nothing of ``emu``.

Memory is kept as data words with the set of addresses that have one wrong bit (read right, counted as mended)
and of those that have two (read as given, the machine halts): how the check bits do that is tested elsewhere.
"""

CYCLE_NS = 900
TICK_NS = 10_000_000
PORT_BITS = {1: 8, 4: 24}
INPUT_PORTS = (2, 3)
SIZE = 1 << 24


def signed(word: int, bits: int = 24) -> int:
    """Return the value of a pattern."""
    return word - (1 << bits) if word >> (bits - 1) else word


class Sandpiper:
    """The machine's state and one method that executes one instruction."""

    def __init__(
        self,
        chips: list[int],
        inputs: dict[int, list[int]],
        single: frozenset[int] = frozenset(),
        double: frozenset[int] = frozenset(),
    ) -> None:
        """Take 65536 words, the words each port offers, and the addresses with wrong bits."""
        self.chips, self.single, self.double = list(chips), set(single), set(double)
        self.inputs = {port: list(words) for port, words in inputs.items()}
        self.r = [0] * 8
        self.kept = self.cause = self.ticking = 0
        self.pc = 0x100
        self.steps = self.time = self.fetches = self.reads = self.writes = 0
        self.next_tick = TICK_NS
        self.alarms: dict[str, int] = {}
        self.restarts = 0  # it never restarts
        self.outputs: list[tuple[int, int]] = []
        self.halted = self.wrong = False

    def alarm(self, name: str) -> None:
        """Count an alarm; all but ``mended`` halt the machine."""
        self.alarms[name] = self.alarms.get(name, 0) + 1
        self.halted = self.halted or name != "mended"

    def get(self, address: int) -> int:
        """Return the word at an address."""
        self.time += CYCLE_NS
        if address in self.single:
            self.alarm("mended")
        if address in self.double:
            self.wrong = True
            self.alarm("memory")
        return self.chips[address]

    def data(self, address: int) -> int:
        """Read a word for an instruction."""
        self.reads += 1
        return self.get(address % 65536)

    def put(self, address: int, word: int) -> None:
        """Write a word, which makes its check bits right."""
        self.writes += 1
        self.time += CYCLE_NS
        self.chips[address % 65536] = word
        self.single.discard(address % 65536)
        self.double.discard(address % 65536)

    def step(self) -> None:
        """Execute one instruction, and the timer tick that may follow it."""
        self.steps += 1
        self.fetches += 1
        self.wrong = False
        word = self.get(self.pc)
        self.pc = (self.pc + 1) % 65536
        if not self.wrong:
            self.execute(word >> 19, word >> 16 & 7, word & 0xFFFF)

    def tick(self) -> None:
        """Interrupt if ten milliseconds are over and the timer may; every tick due is taken or lost."""
        while self.time >= self.next_tick:
            self.next_tick += TICK_NS
            if self.ticking:
                self.kept, self.ticking, self.pc = self.pc, 0, 0x20

    def execute(self, code: int, d: int, rest: int) -> None:
        """Do what one instruction word says."""
        if code == 0:
            self.plain(d, rest)
        elif code <= 10:
            self.with_address(code, d, rest)
        elif code <= 14:
            self.with_distance(code, d, rest >> 13, signed(rest & 0x1FFF, 13))
        elif code == 15:
            self.reckon(rest & 0x3FF, d, self.r[rest >> 13], self.r[rest >> 10 & 7])
        elif code == 16:
            if rest & 0x1FFC:
                self.alarm("stray")
            else:
                self.r[d] = self.r[rest >> 13] >> 8 * (rest & 3) & 255
        elif code <= 19:
            self.compare(code, self.r[d], self.r[rest >> 13], signed(rest & 0x1FFF, 13))
        else:
            self.outside(code, d, rest)

    def plain(self, d: int, rest: int) -> None:
        """Do the instructions without operand."""
        if d or not 1 <= rest <= 5:
            self.alarm("stray")
        elif rest == 1:
            self.halted = True
        elif rest in {2, 5}:
            self.pc = self.kept
            self.ticking = 1 if rest == 5 else self.ticking
        else:
            self.ticking = int(rest == 3)

    def with_address(self, code: int, d: int, rest: int) -> None:
        """Do the instructions with 16 bits of address or value."""
        if code == 1:
            self.r[d] = self.data(rest)
        elif code == 2:
            self.put(rest, self.r[d])
        elif code == 3:
            if d:
                self.alarm("stray")
            else:
                self.pc = rest
        elif code == 9:
            self.r[d] = signed(rest, 16) % SIZE
        elif code == 10:
            if rest > 255:
                self.alarm("stray")
            else:
                self.r[d] = self.r[d] % 65536 + rest * 65536
        else:
            self.jump(code, d, rest)

    def jump(self, code: int, d: int, address: int) -> None:
        """Call, the conditional jumps, count down."""
        taken = True
        if code == 4:
            self.r[d] = self.pc
        elif code == 5:
            taken = self.r[d] == 0
        elif code == 6:
            taken = self.r[d] != 0
        elif code == 7:
            taken = signed(self.r[d]) < 0
        else:
            self.r[d] = (self.r[d] - 1) % SIZE
            taken = self.r[d] != 0
        if taken:
            self.pc = address

    def with_distance(self, code: int, d: int, s: int, number: int) -> None:
        """Do the instructions with a register and a number of 13 bits."""
        total = (self.r[s] + number) % SIZE
        if code == 11:
            self.r[d] = self.data(total)
        elif code == 12:
            self.put(total, self.r[d])
        elif code == 14:
            self.r[d] = total
        elif d or number:
            self.alarm("stray")
        else:
            self.pc = self.r[s] % 65536

    def reckon(self, which: int, d: int, a: int, b: int) -> None:
        """Do the instructions on three registers."""
        if which > 14:
            self.alarm("stray")
            return
        self.time += {8: 9600, 9: 9600, 10: 12000, 11: 12000}.get(which, 0)
        self.r[d] = (self.shifted(which, a, b) if which in {5, 6, 7, 14} else self.result(which, a, b)) % SIZE

    def shifted(self, which: int, a: int, amount: int) -> int:
        """Return a shifted or turned; by 24 places or more nothing of it is left but the sign."""
        if which == 14:
            text = format(a, "024b")
            turn = amount % 24
            return int(text[turn:] + text[:turn], 2)
        few = min(amount, 24)
        if which == 5:
            return a << few
        return (a if which == 6 else signed(a)) >> few

    def result(self, which: int, a: int, b: int) -> int:
        """Return what the adding, logic, multiplying, dividing and comparing instructions give."""
        x, y = signed(a), signed(b)
        if which <= 4:
            return (x + y, x - y, a & b, a | b, a ^ b)[which]
        if which == 8:
            return x * y
        if which == 9:
            return x * y // SIZE
        if which in {10, 11}:
            if y == 0:
                return -1 if which == 10 else a
            size, left = divmod(abs(x), abs(y))
            if which == 10:
                return size if (x < 0) == (y < 0) else -size
            return -left if x < 0 else left
        return int(x < y) if which == 12 else int(a < b)

    def compare(self, code: int, a: int, b: int, distance: int) -> None:
        """Do the comparing jumps."""
        if (a == b, a != b, signed(a) < signed(b))[code - 17]:
            self.pc = (self.pc + distance) % 65536

    def outside(self, code: int, d: int, rest: int) -> None:
        """Do ports, services, and everything unknown."""
        if (
            code > 23
            or (code in {20, 21} and rest > 255)
            or (code == 22 and (d or rest > 255))
            or (code == 23 and rest)
        ):
            self.alarm("stray")
        elif code == 20:
            offered = self.inputs.get(rest, []) if rest in INPUT_PORTS else []
            self.r[d] = (offered.pop(0) if len(offered) > 1 else offered[0]) if offered else 0
        elif code == 21:
            if rest in PORT_BITS:
                self.outputs.append((rest, self.r[d] % 2 ** PORT_BITS[rest]))
        elif code == 22:
            self.cause, self.kept, self.ticking, self.pc = rest, self.pc, 0, 0x40
        else:
            self.r[d] = self.cause

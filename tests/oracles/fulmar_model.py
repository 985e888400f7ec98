"""fulmar by hand: a second description of the machine, written from its page and importing nothing of ``emu``.

Arithmetic is done on values, not on patterns, so that a shared slip is unlikely: a ones' complement sum is
``(a + b) % 65535``, which gives the one result that the end-around carry gives (RFC 1071 calls it the
associative sum), except that the zero is the negative one unless both addends are the positive one.
"""

ONES = 0xFFFF
CYCLE_NS = 10_000
RESTART_NS = 20_000
WATCHDOG_NS = 2_000_000_000
PORT_BITS = {1: 7, 2: 8, 3: 1}
INPUT_PORTS = (4, 5, 6, 7)


def with_parity(data: int) -> int:
    """Return the 17 stored bits of a data word: the ones, parity bit on top included, are odd in number."""
    return data | (0 if data.bit_count() % 2 else 1) << 16


def value(word: int) -> int:
    """Return what a word stands for; both zeros are 0."""
    return word if word < 0x8000 else word - ONES


def word_of(number: int, bits: int = 16) -> int:
    """Return the pattern of a number; 0 is the positive zero."""
    return number if number >= 0 else number + (1 << bits) - 1


def add(a: int, b: int) -> int:
    """Return the end-around sum of two patterns."""
    if a == b == 0:
        return 0
    return (a + b) % ONES or ONES


class Fulmar:
    """The machine's state and one method that executes one instruction."""

    def __init__(self, core: list[int], rope: list[int], inputs: dict[int, list[int]]) -> None:
        """Take stored words of 17 bits: 2048 of core, 24576 of rope; and the words each port offers."""
        self.core, self.rope = list(core), list(rope)
        self.inputs = {port: list(words) for port, words in inputs.items()}
        self.acc = self.extra = self.index = self.link = self.bank = self.over = self.shown = 0
        self.fresh, self.pc = 1, 0o6000
        self.steps = self.time = self.fetches = self.reads = self.writes = self.restarts = 0
        self.fed = 0
        self.alarms: dict[str, int] = {}
        self.raised: list[str] = []
        self.outputs: list[tuple[int, int]] = []
        self.halted = False

    def cell(self, address: int) -> int:
        """Return the stored word that an address of 12 bits reaches."""
        if address < 0o4000:
            return self.core[address]
        if address < 0o6000:
            return self.rope[(self.bank * 1024 + address - 0o4000) % 24576]
        return self.rope[address - 0o6000]

    def get(self, address: int) -> int:
        """Return the data bits of a word, raising parity when the ones are even in number."""
        self.time += CYCLE_NS
        stored = self.cell(address % 4096)
        if stored.bit_count() % 2 == 0:
            self.raised.append("parity")
        return stored & ONES

    def data(self, address: int) -> int:
        """Read a word for an instruction."""
        self.reads += 1
        return self.get(address)

    def put(self, address: int, word: int) -> None:
        """Write a word; the rope does not change."""
        self.writes += 1
        self.time += CYCLE_NS
        if address % 4096 < 0o4000:
            self.core[address % 4096] = with_parity(word)

    def step(self) -> None:
        """Execute one instruction, and what its alarms ask for."""
        self.raised = []
        self.fetches += 1
        self.steps += 1
        word = self.get(self.pc)
        self.pc = (self.pc + 1) % 4096
        if not self.raised:
            self.execute(word)
        self.settle()

    def watch(self) -> None:
        """Do what the watchdog does before an instruction: restart the machine if it was left alone too long."""
        if self.time - self.fed >= WATCHDOG_NS:
            self.raised = ["watchdog"]
            self.settle()

    def settle(self) -> None:
        """Count the alarms that were raised; all of them restart a machine that has not halted."""
        for name in self.raised:
            self.alarms[name] = self.alarms.get(name, 0) + 1
        if self.raised and not self.halted:
            self.restart()

    def restart(self) -> None:
        """Go to 0o6000 with everything else as it was, except what a restart clears."""
        self.restarts += 1
        self.pc, self.fresh, self.over = 0o6000, 0, 0
        self.time += RESTART_NS
        self.fed = self.time

    def execute(self, word: int) -> None:
        """Do what one instruction word says."""
        code, address = divmod(word, 4096)
        if code == 0:
            self.small(word >> 8 & 15, word & 255)
        elif code <= 5:
            self.with_word(code, address)
        elif code <= 9:
            self.jump(code, address)
        else:
            self.rest(code, address)

    def with_word(self, code: int, address: int) -> None:
        """Load, store, add, subtract, keep."""
        if code == 2:
            self.put(address, self.acc)
            return
        word = self.data(address)
        if code == 1:
            self.acc = word
        elif code == 5:
            self.acc &= word
        else:
            other = word if code == 3 else ONES - word
            exact = value(self.acc) + value(other)
            if abs(exact) > 32767:
                self.over = 1
            self.acc = add(self.acc, other)

    def jump(self, code: int, address: int) -> None:
        """Jump, jump if zero, jump if negative, call."""
        number = value(self.acc)
        if code == 9:
            self.link = self.pc
        if code in {6, 9} or (code == 7 and number == 0) or (code == 8 and number < 0):
            self.pc = address

    def rest(self, code: int, address: int) -> None:
        """Do the indexed, counting, setting and skipping instructions."""
        if code == 10:
            self.acc = self.data(address + self.index)
        elif code == 11:
            self.put(address + self.index, self.acc)
        elif code == 12:
            if self.index:
                self.index -= 1
                self.pc = address
        elif code == 13:
            self.acc = word_of(address if address < 2048 else address - 4095)
            if address == 4095:
                self.acc = ONES
        elif code == 14:
            self.pc = (self.pc + (self.acc == self.data(address))) % 4096
        else:
            self.pc = (self.pc + (value(self.acc) < value(self.data(address)))) % 4096

    def small(self, kind: int, number: int) -> None:
        """Do the instructions with a small number or with none."""
        if kind == 1:
            offered = self.inputs.get(number, []) if number in INPUT_PORTS else []
            self.acc = (offered.pop(0) if len(offered) > 1 else offered[0]) if offered else 0
        elif kind == 2:
            if number in PORT_BITS:
                self.outputs.append((number, self.acc % 2 ** PORT_BITS[number]))
        elif kind in {3, 4, 5, 6}:
            self.shift(kind, number)
        elif kind == 7 and number < 32:
            self.bank = number
        elif kind == 8:
            self.index = (self.index + number) % 4096
        elif kind == 9:
            self.index = (self.index - number) % 4096
        elif kind == 15:
            self.plain(number)
        else:
            self.raised.append("stray")

    def shift(self, kind: int, number: int) -> None:
        """Shift left, right, halve, turn left."""
        if kind == 3:
            self.acc = self.acc * 2**number % 65536
        elif kind == 4:
            self.acc //= 2**number
        elif kind == 5:
            two = self.acc - 65536 if self.acc >= 0x8000 else self.acc
            self.acc = two // 2**number % 65536
        else:
            text = format(self.acc, "016b")
            turn = number % 16
            self.acc = int(text[turn:] + text[:turn], 2)

    def plain(self, number: int) -> None:
        """Do the instructions without operand."""
        if number == 1:
            self.pc = self.link
        elif number == 2:
            self.halted = True
        elif number == 3:
            self.fed = self.time
        elif number == 4:
            self.shown = self.acc
        elif number == 5:
            self.pc = (self.pc + self.fresh) % 4096
        elif number == 6:
            self.pc = (self.pc + 1 - self.over) % 4096
            self.over = 0
        elif 0o20 <= number <= 0o30:
            self.move(number - 0o20)
        elif 0o40 <= number <= 0o46:
            self.reckon(number - 0o40)
        else:
            self.raised.append("stray")

    def move(self, which: int) -> None:
        """Copy between registers."""
        if which == 0:
            self.index = self.acc % 4096
        elif which == 1:
            self.acc = self.index
        elif which == 2:
            self.link = self.acc % 4096
        elif which == 3:
            self.acc = self.link
        elif which == 4:
            self.bank = self.acc % 32
        elif which == 5:
            self.acc = self.bank
        elif which == 6:
            self.extra = self.acc
        elif which == 7:
            self.acc = self.extra
        else:
            self.acc, self.extra = self.extra, self.acc

    def reckon(self, which: int) -> None:
        """Flip, either, differ, multiply, divide, jump to index, gather."""
        if which == 0:
            self.acc = ONES - self.acc
        elif which == 1:
            self.acc |= self.extra
        elif which == 2:
            self.acc ^= self.extra
        elif which == 3:
            self.time += 60_000
            self.acc, self.extra = divmod(word_of(value(self.acc) * value(self.extra), 32), 65536)
        elif which == 4:
            self.time += 80_000
            self.divide()
        elif which == 5:
            self.pc = self.index
        else:
            if abs(value(self.acc) + value(self.extra)) > 32767:
                self.over = 1
            self.extra = add(self.acc, self.extra)

    def divide(self) -> None:
        """Divide toward zero; by either zero the quotient is all ones and the dividend remains."""
        top, bottom = value(self.acc), value(self.extra)
        if bottom == 0:
            self.acc, self.extra = ONES, self.acc
            return
        size, left = divmod(abs(top), abs(bottom))
        self.acc = word_of(size if (top < 0) == (bottom < 0) else -size)
        self.extra = word_of(-left if top < 0 else left)

"""dunlin by hand: a second description of the machine, written from its page and importing nothing of ``emu``."""

CYCLE_NS = 6_000
PORT_BITS = {1: 7, 2: 12}
SIZE = 4096


def signed(word: int) -> int:
    """Return the value of a pattern of 12 bits."""
    return word - SIZE if word >= SIZE // 2 else word


class Dunlin:
    """The machine's state and one method that executes one instruction."""

    def __init__(self, core: list[int], inputs: dict[int, list[int]]) -> None:
        """Take the 4096 words of core and the words each port offers."""
        self.core = list(core)
        self.inputs = {port: list(words) for port, words in inputs.items()}
        self.acc = self.carry = self.rest = self.page = self.pointer = self.link = self.mark = 0
        self.pc = 0o200
        self.steps = self.time = self.fetches = self.reads = self.writes = 0
        self.restarts = 0  # it never restarts
        self.alarms: dict[str, int] = {}  # and has no alarms
        self.outputs: list[tuple[int, int]] = []
        self.halted = False

    def get(self, address: int) -> int:
        """Read a word for an instruction."""
        self.reads += 1
        self.time += CYCLE_NS
        return self.core[address]

    def put(self, address: int, word: int) -> None:
        """Write a word."""
        self.writes += 1
        self.time += CYCLE_NS
        self.core[address] = word

    def step(self) -> None:
        """Execute one instruction."""
        self.steps += 1
        self.fetches += 1
        self.time += CYCLE_NS
        word = self.core[self.pc]
        self.pc = (self.pc + 1) % SIZE
        code, low = divmod(word, 256)
        if code == 0:
            self.small(low // 16, low % 16)
        elif code <= 9:
            self.with_address(code, self.page * 256 + low)
        else:
            self.with_number(code, low - 256 if low >= 128 else low)

    def with_address(self, code: int, address: int) -> None:
        """Do the instructions that reach a word of the page."""
        if code == 1:
            self.acc = self.get(address)
        elif code == 2:
            self.put(address, self.acc)
        elif code == 3:
            self.add(self.get(address))
        elif code == 4:
            word = self.get(address)
            self.carry = int(self.acc < word)
            self.acc = (self.acc - word) % SIZE
        elif code == 5:
            self.acc &= self.get(address)
        elif code == 6:
            self.acc ^= self.get(address)
        elif code == 7:
            count = (self.get(address) + 1) % SIZE
            self.put(address, count)
            self.pc = (self.pc + (count == 0)) % SIZE
        elif code == 8:
            self.pointer = self.get(address)
        else:
            self.pointer = address

    def add(self, word: int) -> None:
        """Add to the accumulator, with carry."""
        self.carry, self.acc = divmod(self.acc + word, SIZE)

    def with_number(self, code: int, number: int) -> None:
        """Set, and jump by a distance."""
        if code == 10:
            self.acc = number % SIZE
            return
        taken = (
            True,
            self.acc == 0,
            self.acc != 0,
            self.acc >= SIZE // 2,
            self.carry == 1,
        )[code - 11]
        if taken:
            self.pc = (self.pc + number) % SIZE

    def small(self, kind: int, number: int) -> None:
        """Do the instructions with a number of four bits; an unknown word stops the machine."""
        if kind == 1:
            self.mark, self.halted = number, True
        elif kind == 2:
            self.page = number
        elif kind in {3, 4, 5, 6}:
            self.shift(kind, number)
        elif kind == 7:
            self.pointer = (self.pointer + number) % SIZE
        elif kind == 8:
            self.pointer = (self.pointer - number) % SIZE
        elif kind == 9:
            offered = self.inputs.get(number, []) if number == 3 else []
            self.acc = (offered.pop(0) if len(offered) > 1 else offered[0]) if offered else 0
        elif kind == 10:
            if number in PORT_BITS:
                self.outputs.append((number, self.acc % 2 ** PORT_BITS[number]))
        elif kind == 14 and number <= 6:
            self.at_pointer(number)
        elif kind == 15 and number <= 10:
            self.move(number)
        else:
            self.halted = True

    def shift(self, kind: int, number: int) -> None:
        """Shift left, right, halve, turn left."""
        if kind == 3:
            self.acc = self.acc * 2**number % SIZE
        elif kind == 4:
            self.acc //= 2**number
        elif kind == 5:
            self.acc = signed(self.acc) // 2**number % SIZE
        else:
            text = format(self.acc, "012b")
            turn = number % 12
            self.acc = int(text[turn:] + text[:turn], 2)

    def at_pointer(self, number: int) -> None:
        """Do the instructions that use the pointer."""
        if number == 0:
            self.acc = self.get(self.pointer)
        elif number == 1:
            self.put(self.pointer, self.acc)
        elif number == 2:
            self.add(self.get(self.pointer))
        elif number == 3:
            product = signed(self.acc) * signed(self.get(self.pointer))
            self.acc, self.rest = divmod(product % SIZE**2, SIZE)
            self.time += 48_000
        elif number == 4:
            divisor = self.get(self.pointer)
            self.acc, self.rest = divmod(self.acc, divisor) if divisor else (SIZE - 1, self.acc)
            self.time += 60_000
        else:
            if number == 5:
                self.link = self.pc
            self.pc = self.pointer

    def move(self, number: int) -> None:
        """Do the instructions without operand."""
        if number == 0:
            self.pc = self.link
        elif number == 1:
            self.acc = self.link
        elif number == 2:
            self.link = self.acc
        elif number == 3:
            self.acc = self.pointer
        elif number == 4:
            self.pointer = self.acc
        elif number == 5:
            self.acc = self.rest
        elif number == 6:
            self.rest = self.acc
        elif number == 7:
            self.acc = SIZE - 1 - self.acc
        elif number == 8:
            self.acc = -self.acc % SIZE
        elif number == 9:
            self.acc = (self.acc + self.carry) % SIZE
        else:
            self.page = self.acc % 16

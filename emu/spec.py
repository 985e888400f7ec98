"""A machine, as plain frozen data: what ``emu.load`` makes of a machine file.

Nothing here checks anything: a ``MachineSpec`` that came from ``emu.load`` is already right.
Times are whole nanoseconds of simulated time. Addresses, registers and words are unsigned ints.
"""

from typing import Literal

from attrs import frozen

from emu.behaviour.tree import Statement
from emu.codes import Protection, check_bits
from emu.words import WordFormat

AlarmAction = Literal["lamp", "halt", "restart"]

MAX_STORED_BITS = 62  # data and check bits of one word; engines compute in signed 64-bit integers
MAX_STORE_WORDS = 1 << 22


@frozen
class RegisterSpec:
    """A register (``count`` 0) or a file of ``count`` registers (a power of two).

    ``zero`` is the index of the file's hard-wired zero, or None. ``reset`` is the value at power-up.
    ``names``, if given, are the assembly names of the file's registers; else name + decimal index.
    """

    name: str
    bits: int
    count: int = 0
    zero: int | None = None
    reset: int = 0
    names: tuple[str, ...] = ()
    doc: str = ""


@frozen
class StoreSpec:
    """A memory: ``words`` words of ``data_bits`` bits and the check bits of its protection.

    ``destructive``: a read clears the cells and the word is written back through the write path.
    ``writable`` False: a write by the program does nothing (the cycle time still passes).
    ``alarm`` is raised when the check fails; ``corrected_alarm`` when SEC-DED mended a bit.
    ``cycle_ns`` is the time one access takes.
    """

    name: str
    words: int
    data_bits: int
    protection: Protection = "none"
    writable: bool = True
    destructive: bool = False
    alarm: str = ""
    corrected_alarm: str = ""
    cycle_ns: int = 0
    doc: str = ""

    @property
    def bits(self) -> int:
        """Width of a stored word: data bits (low) and check bits (above them)."""
        return self.data_bits + check_bits(self.protection, self.data_bits)


@frozen
class WindowSpec:
    """Addresses ``first``..``last`` reach ``store`` from ``offset`` on.

    With a ``bank`` register the store address is ``offset + bank * size + (address - first)``, taken
    modulo the words of the store, where size is ``last - first + 1``. ``unit`` is how many addresses
    one word covers (4 for byte addresses over 32-bit words): the word index is ``(address-first)//unit``
    and size counts words.
    """

    first: int
    last: int
    store: str
    offset: int = 0
    bank: str = ""
    unit: int = 1
    doc: str = ""

    @property
    def size(self) -> int:
        """Words seen through the window at a time."""
        return (self.last - self.first + 1) // self.unit


@frozen
class AlarmSpec:
    """An alarm and what it does: only light its lamp, halt the machine, or restart it."""

    name: str
    action: AlarmAction
    doc: str = ""


@frozen
class RestartSpec:
    """What a restart does: go to ``address``, clear the registers named, and be counted.

    The count is always kept and shown in the result; ``delay_ns`` is the time a restart takes.
    """

    address: int
    clears: tuple[str, ...] = ()
    delay_ns: int = 0


@frozen
class WatchdogSpec:
    """Raises ``alarm`` when ``period_ns`` have passed since start, restart or the last ``rearm``."""

    period_ns: int
    alarm: str


@frozen
class TimerSpec:
    """Executes its statements between two instructions whenever ``period_ns`` have passed.

    ``enable``, if given, is a 1-bit register: a tick that comes while it is 0 is lost.
    """

    name: str
    period_ns: int
    does: tuple[Statement, ...]
    enable: str = ""
    doc: str = ""


@frozen
class TrapSpec:
    """A named block of statements, entered by ``trap name`` or by an unknown instruction."""

    name: str
    does: tuple[Statement, ...]
    doc: str = ""


@frozen
class PortSpec:
    """An input or output port. ``shows`` says how outputs are printed by people-facing reports."""

    number: int
    name: str
    direction: Literal["in", "out"]
    bits: int
    shows: Literal["number", "signed", "character"] = "number"
    doc: str = ""


@frozen
class LampSpec:
    """A row of lamps that shows a register (or ``restarts``, or ``alarm:NAME``) when somebody looks."""

    name: str
    shows: str
    doc: str = ""


@frozen
class FieldSpec:
    """How a letter of an encoding is written in assembly and read from it.

    kind ``number``: unsigned. ``signed``: as the machine's arithmetic says. ``address``: a full address,
    of which the low bits go into the field. ``relative``: (target - following instruction) / scale as a
    two's complement number. ``register``: a register of ``file``.
    """

    letter: str
    name: str
    kind: Literal["number", "signed", "address", "relative", "register"] = "number"
    file: str = ""
    scale: int = 1
    doc: str = ""


@frozen
class OperandBits:
    """Where a field lies in the instruction word: runs of (high, low), most significant run first."""

    field: FieldSpec
    runs: tuple[tuple[int, int], ...]

    @property
    def width(self) -> int:
        """Bits of the field."""
        return sum(high - low + 1 for high, low in self.runs)


@frozen
class InstructionSpec:
    """One instruction: encoding, effect, assembly form, an example that proves them, one sentence.

    ``mask``/``match``: a word w is this instruction when ``w & mask == match``. ``form`` is the text
    after the name, with ``{letter}`` for each operand, for instance ``{d}, {a}``. ``extra_ns`` is time
    on top of the memory cycles.
    """

    name: str
    bits: str
    mask: int
    match: int
    operands: tuple[OperandBits, ...]
    form: str
    does: tuple[Statement, ...]
    does_text: tuple[str, ...]
    example_text: str
    example_word: int
    extra_ns: int = 0
    doc: str = ""


@frozen
class MachineSpec:
    """A whole machine. ``digest`` is a strong hash of everything that can change its behaviour.

    ``counter`` names the program counter register and ``step`` what it moves by per instruction.
    ``unknown`` says what a word that is no instruction does: ``halt``, ``alarm NAME`` or ``trap NAME``.
    ``unmapped_alarm`` is raised by an access outside every window (reads as 0; "" for no alarm).
    """

    name: str
    doc: str
    word: WordFormat
    address_bits: int
    counter: str
    start: int
    step: int
    registers: tuple[RegisterSpec, ...]
    stores: tuple[StoreSpec, ...]
    windows: tuple[WindowSpec, ...]
    alarms: tuple[AlarmSpec, ...]
    restart: RestartSpec | None
    watchdog: WatchdogSpec | None
    timers: tuple[TimerSpec, ...]
    traps: tuple[TrapSpec, ...]
    ports: tuple[PortSpec, ...]
    lamps: tuple[LampSpec, ...]
    instructions: tuple[InstructionSpec, ...]
    instruction_bits: int
    unknown: str
    unmapped_alarm: str
    digest: str

    def store(self, name: str) -> StoreSpec:
        """Return the store of that name (KeyError if there is none)."""
        return {s.name: s for s in self.stores}[name]

    def store_index(self, name: str) -> int:
        """Return the position of a store, the number that plans and kernels use for it."""
        return [s.name for s in self.stores].index(name)

    def register(self, name: str) -> RegisterSpec:
        """Return the register of that name (KeyError if there is none)."""
        return {r.name: r for r in self.registers}[name]

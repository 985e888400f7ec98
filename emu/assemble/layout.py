"""Where words go: program addresses, the windows they are seen through, and the words of the stores."""

from collections.abc import Iterator
from typing import Final

from attrs import evolve, frozen

from emu.assemble.lines import LineError, hint_of
from emu.errors import declare
from emu.spec import MachineSpec, StoreSpec, WindowSpec
from emu.words import BASE_NAMES, Base, WordFormat, mask

NOWHERE: Final = -1

NO_WINDOW: Final = declare(
    "asm-no-window",
    "A word lies at an address that one of the machine's windows shows.",
    "Choose an address inside a window; the hint lists them.",
    "; machine: fulmar\n.at 0xFFFF\n.word 1\n",
    "program",
)
WINDOW_FULL: Final = declare(
    "asm-window-full",
    "Words that follow each other stay inside their window, and inside their bank.",
    "Put the rest elsewhere with .at (and .bank before it).",
    "; machine: dunlin\n.at 0o7777\n.word 1, 2\n",
    "program",
)
NO_BANK: Final = declare(
    "asm-no-bank",
    "A bank is one that the bank register can hold and the store has words for.",
    "Choose a bank from 0 to the number in the message.",
    "; machine: fulmar\n.bank 77\n",
    "program",
)
NO_STORE: Final = declare(
    "asm-no-store",
    "Words go into a store of the machine, at a word that the store has.",
    "Use a store from the machine's page, and count its words from 0.",
    "; machine: dunlin\n.in attic, 0\n",
    "program",
)
ODD_ADDRESS: Final = declare(
    "asm-odd-address",
    "Where a word takes several addresses, words begin at a multiple of that.",
    "Use .align before the word.",
)


@frozen
class Spot:
    """A place for a word. ``address`` is -1 where no window shows the word, ``store`` -1 outside all stores.

    ``bank`` is None where the window has no bank register.
    """

    store: int
    index: int
    address: int
    window: int
    bank: int | None = None


@frozen
class Stretch:
    """Words of one store that follow each other, and the spot of the first."""

    spot: Spot
    count: int


def digits(value: int, base: Base) -> str:
    """Return a number with its base shown, as few digits as it needs: 0o17, 0xf, 15, -0o1."""
    sign, size = ("-", -value) if value < 0 else ("", value)
    return sign + {2: f"0b{size:b}", 8: f"0o{size:o}", 16: f"0x{size:x}"}.get(base, str(size))


def plain(value: int, base: Base) -> str:
    """Return a number from 0 up in digits of the base alone, as few as it needs."""
    return format(value, {2: "b", 8: "o", 16: "x"}.get(base, "d"))


@frozen
class Layout:
    """The windows and stores of a machine, asked in both directions."""

    machine: MachineSpec

    @property
    def base(self) -> Base:
        """The base that numbers are shown in."""
        return self.machine.word.base

    def store_of(self, window: WindowSpec) -> StoreSpec:
        """Return the store behind a window."""
        return self.machine.store(window.store)

    def banks(self, window: WindowSpec) -> int:
        """Return how many banks of the window hold at least one word of the store."""
        store = self.store_of(window)
        held = 1 << self.machine.register(window.bank).bits
        return max(min(held, -(-(store.words - window.offset) // window.size)), 1)

    def power_up_banks(self) -> dict[int, int]:
        """Return the bank that each banked window shows at power-up, by number of the window."""
        return {
            number: self.machine.register(window.bank).reset
            for number, window in enumerate(self.machine.windows)
            if window.bank
        }

    def check_bank(self, bank: int) -> None:
        """Raise unless some banked window has that bank."""
        counts = [self.banks(w) for w in self.machine.windows if w.bank]
        if not counts:
            raise LineError(NO_BANK, f"this machine has no banks, got .bank {digits(bank, self.base)}")
        if not 0 <= bank < max(counts):
            top = digits(max(counts) - 1, self.base)
            raise LineError(NO_BANK, f"the banks are 0 to {top}, got {digits(bank, self.base)}")

    def window_at(self, address: int) -> int:
        """Return the number of the window that shows an address, or -1."""
        for number, window in enumerate(self.machine.windows):
            if window.first <= address <= window.last:
                return number
        return NOWHERE

    def spot_at(self, address: int, banks: dict[int, int]) -> Spot:
        """Return the spot of a program address, given the bank of each banked window."""
        number = self.window_at(address)
        if number < 0:
            raise self._no_window(address)
        window = self.machine.windows[number]
        inside, odd = divmod(address - window.first, window.unit)
        if odd:
            raise self._odd(address, window)
        bank = banks[number] if window.bank else None
        index = window.offset + (bank or 0) * window.size + inside
        self._check_word(window, index, address, bank)
        return Spot(self.machine.store_index(window.store), index, address, number, bank)

    def check_start(self, address: int) -> None:
        """Raise unless an instruction can begin at an address, in whatever bank."""
        number = self.window_at(address)
        if number < 0:
            raise self._no_window(address)
        window = self.machine.windows[number]
        if (address - window.first) % window.unit:
            raise self._odd(address, window)

    def _no_window(self, address: int) -> LineError:
        shown = ", ".join(
            f"{digits(w.first, self.base)}-{digits(w.last, self.base)} ({w.store})"
            for w in self.machine.windows
        )
        message = f"a word lies at an address inside a window, got {digits(address, self.base)}"
        return LineError(NO_WINDOW, message, hint=f"the windows are {shown}")

    def _odd(self, address: int, window: WindowSpec) -> LineError:
        low = address - (address - window.first) % window.unit
        return LineError(
            ODD_ADDRESS,
            f"a word takes {window.unit} addresses here and begins at a multiple, "
            f"got {digits(address, self.base)}",
            hint=f"the nearest are {digits(low, self.base)} and {digits(low + window.unit, self.base)}",
        )

    def _check_word(self, window: WindowSpec, index: int, address: int, bank: int | None) -> None:
        words = self.store_of(window).words
        if index < words:
            return
        where = digits(address, self.base)
        if bank is not None and bank >= self.banks(window):
            top = digits(self.banks(window) - 1, self.base)
            message = f"the banks at {where} are 0 to {top}, got {digits(bank, self.base)}"
            raise LineError(NO_BANK, message)
        message = (
            f"store {window.store} has {digits(words, self.base)} words, "
            f"got {where}, which would repeat one of them"
        )
        raise LineError(NO_STORE, message)

    def spot_in(self, name: str, index: int) -> Spot:
        """Return the spot of a word of a store: seen through an unbanked window if there is one."""
        names = [store.name for store in self.machine.stores]
        if name not in names:
            hint = hint_of(name, names, f"the stores are {', '.join(names)}")
            raise LineError(NO_STORE, f"words go into a store of the machine, got {name!r}", hint=hint)
        words = self.machine.store(name).words
        if not 0 <= index < words:
            top = digits(words - 1, self.base)
            raise LineError(NO_STORE, f"store {name} has words 0 to {top}, got {digits(index, self.base)}")
        store = names.index(name)
        seen = sorted(self._views(name, index, store), key=lambda spot: spot.bank is not None)
        return seen[0] if seen else Spot(store, index, NOWHERE, NOWHERE)

    def _views(self, name: str, index: int, store: int) -> Iterator[Spot]:
        for number, window in enumerate(self.machine.windows):
            if window.store != name or index < window.offset:
                continue
            bank, inside = divmod(index - window.offset, window.size)
            if bank and (not window.bank or bank >= self.banks(window)):
                continue
            address = window.first + inside * window.unit
            yield Spot(store, index, address, number, bank if window.bank else None)

    def room(self, spot: Spot) -> int:
        """Return how many words from the spot on lie in the same window and store."""
        if spot.store < 0:
            return 0
        left = self.machine.stores[spot.store].words - spot.index
        if spot.window < 0:
            return left
        window = self.machine.windows[spot.window]
        return min(left, (window.last + 1 - spot.address) // window.unit)

    def after(self, spot: Spot, count: int) -> Spot:
        """Return the spot ``count`` words on, at most :meth:`room` of them; outside all stores at the end.

        From one window without banks into the next words may run on; out of a banked window they may not.
        """
        unit = self.machine.windows[spot.window].unit if spot.window >= 0 else 0
        moved = Spot(spot.store, spot.index + count, spot.address + count * unit, spot.window, spot.bank)
        if count < self.room(spot):
            return moved
        follower = self.window_at(moved.address) if spot.address >= 0 else NOWHERE
        if spot.bank is None and follower not in {NOWHERE, spot.window}:
            window = self.machine.windows[follower]
            if (
                not window.bank
                and moved.address == window.first
                and window.offset < self.store_of(window).words
            ):
                return self.spot_at(moved.address, {})
        return evolve(moved, store=NOWHERE)

    def stretches(self, spot: Spot, count: int) -> tuple[list[Stretch], Spot]:
        """Return where ``count`` words go, and the spot after them; :class:`LineError` if they do not fit."""
        found: list[Stretch] = []
        while count:
            part = min(count, self.room(spot))
            if not part:
                raise self._full(spot)
            found.append(Stretch(spot, part))
            spot = self.after(spot, part)
            count -= part
        return found, spot

    def _full(self, spot: Spot) -> LineError:
        if spot.window < 0:
            return LineError(WINDOW_FULL, "words stay inside their store, got one beyond its last word")
        window = self.machine.windows[spot.window]
        bank = "" if spot.bank is None else f" (bank {digits(spot.bank, self.base)})"
        message = (
            f"words stay inside their window, got one at {digits(spot.address, self.base)}: "
            f"the window of {window.store}{bank} ends before it"
        )
        return LineError(WINDOW_FULL, message)

    def address_format(self) -> WordFormat:
        """Return how addresses are printed."""
        return WordFormat(self.machine.address_bits, "twos", self.base)

    def address_range(self) -> str:
        """Return the addresses that there are, for messages."""
        return f"0 to {digits(mask(self.machine.address_bits), self.base)}"

    def base_name(self) -> str:
        """Return the name of the machine's base."""
        return BASE_NAMES[self.base]

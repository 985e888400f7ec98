"""Rules of stores and windows: protection, sizes, what reaches what."""

from attrs import define

from emu.codes import check_bits
from emu.crossrules import (
    BAD_WINDOW,
    COLLIDES,
    DOES_NOT_FIT,
    MAX_BANK_BITS,
    MAX_TOTAL_WORDS,
    PROTECTION,
    UNREACHED,
    Rules,
)
from emu.errors import Note
from emu.fromtoml import key_path
from emu.machinefile import RegisterTable, StoreTable, WindowTable
from emu.spec import MAX_STORED_BITS
from emu.words import mask


@define
class StoreRules(Rules):
    """The rules of stores and windows."""

    def check_stores(self) -> None:
        """Check stores, then windows."""
        self._stores()
        self._windows()

    def _stores(self) -> None:
        for store in self.table.stores:
            self._protection(store)
            bits = self.table.word.bits + check_bits(store.protection, self.table.word.bits)
            if bits > MAX_STORED_BITS:
                message = f"a stored word has at most {MAX_STORED_BITS} bits, check bits included; got {bits}"
                self.report(DOES_NOT_FIT, message, store, "protection")
        total = sum(store.words for store in self.table.stores)
        if total > MAX_TOTAL_WORDS:
            message = f"all stores together have at most {MAX_TOTAL_WORDS:,} words; got {total:,}"
            self.report(DOES_NOT_FIT, message, self.table, "stores")

    def _protection(self, store: StoreTable) -> None:
        for attribute in ("alarm", "corrected_alarm"):
            name = getattr(store, attribute)
            if name:
                self.defined(name, "alarm", store, attribute)
        if store.protection == "none" and store.alarm:
            message = f"a store without protection raises no alarm; got {store.alarm!r}"
            self.report(PROTECTION, message, store, "alarm", hint="give 'protection', or leave 'alarm' out")
        if store.protection != "none" and not store.alarm:
            message = f"a store with protection names its alarm; {store.name!r} names none"
            self.report(PROTECTION, message, store, "protection", hint='add alarm = "..."')
        if store.protection != "sec-ded" and store.corrected_alarm:
            message = f"only sec-ded mends words; {store.name!r} has protection {store.protection!r}"
            self.report(PROTECTION, message, store, "corrected_alarm")

    def _windows(self) -> None:
        stores = {store.name: store for store in self.table.stores}
        top = mask(self.table.address.bits)
        for window in self.table.windows:
            known = self.defined(window.store, "store", window, "store")
            bank = self.register(window.bank, window, "bank") if window.bank else None
            self.fits(window.first, top, "an address", window, "first")
            self.fits(window.last, top, "an address", window, "last")
            if self._whole_words(window) and known and window.store in stores:
                self._reach(window, stores[window.store], bank)
        self._collisions()
        seen = self.written("window", "store")
        if seen - self.written("store"):
            return  # a window of an unknown store may be meant for one of these
        for store in self.table.stores:
            if store.name not in seen:
                message = f"every store is seen through a window; {store.name!r} through none"
                self.report(UNREACHED, message, store, "name")

    def _whole_words(self, window: WindowTable) -> bool:
        span = window.last - window.first + 1
        if span < 1:
            first, last = self.number(window.first), self.number(window.last)
            message = f"the last address is not below the first, {first}; got {last}"
            self.report(BAD_WINDOW, message, window, "last")
        elif span % window.unit:
            message = f"a window shows whole words of {window.unit} addresses; it has {span} addresses"
            self.report(BAD_WINDOW, message, window, "unit")
        return span >= 1 and not span % window.unit

    def _reach(self, window: WindowTable, store: StoreTable, bank: RegisterTable | None) -> None:
        size = (window.last - window.first + 1) // window.unit
        if window.offset + size > store.words:
            message = (
                f"a window shows words that its store has; {store.name!r} has {store.words:,}, "
                f"the window ends at word {window.offset + size:,}"
            )
            self.report(DOES_NOT_FIT, message, window, "offset" if window.offset else "last")
        elif bank is not None:
            self._bank(window, store, bank, size)

    def _bank(self, window: WindowTable, store: StoreTable, bank: RegisterTable, size: int) -> None:
        banks = -(-(store.words - window.offset) // size)
        needed = max(1, (banks - 1).bit_length())
        if bank.bits < needed:
            given = f"{banks} banks need {needed} bits, {bank.name!r} has {bank.bits}"
            message = f"a bank register reaches every bank; {given}"
            self.report(BAD_WINDOW, message, window, "bank")
        if bank.bits > MAX_BANK_BITS:
            message = f"a bank register has at most {MAX_BANK_BITS} bits; {bank.name!r} has {bank.bits}"
            self.report(DOES_NOT_FIT, message, window, "bank")

    def _collisions(self) -> None:
        windows = sorted(self.table.windows, key=lambda window: (window.first, window.last))
        earlier = windows[0] if windows else None
        for window in windows[1:]:
            if earlier is not None and window.first <= earlier.last:
                place = self.document.place(key_path(earlier, "first"))
                message = f"an address belongs to one window; {self.number(window.first)} belongs to two"
                note = Note("the other window begins here", place)
                self.report(COLLIDES, message, window, "first", notes=(note,))
            if earlier is None or window.last > earlier.last:
                earlier = window

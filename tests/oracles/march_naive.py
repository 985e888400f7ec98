"""A slow, independent model of a faulty one-bit-wide memory: one first content, one cell list at a time.

It imports nothing of the product. A fault is plain values: the name of its class, its cells, and its
parameters. It follows the definitions of the fault classes as the literature words them (van de Goor 1991
and later papers, from memory), with if-statements instead of fault primitives, and reads march notation
with its own regular expression.
"""

import re


def expand(notation, cells, either="^"):
    """Return the operations [(address, 'r' or 'w', data)], None for a pause."""
    operations = []
    for order, body in re.findall(r"([\^v~]|Del)\s*(?:\(([^)]*)\))?", notation):
        if order == "Del":
            operations.append(None)
            continue
        upward = (either if order == "~" else order) == "^"
        addresses = list(range(cells)) if upward else list(range(cells - 1, -1, -1))
        for address in addresses:
            for kind, data in re.findall(r"([rw])([01])", body):
                operations.append((address, kind, int(data)))
    return operations


class Memory:
    """One memory with one fault."""

    def __init__(self, kind, cells, parameters, content, latch=0):
        self.kind, self.places, self.p = kind, cells, parameters
        self.cell = list(content)
        self.latch = latch
        self.last_write = None  # (address, value before, value written) if the operation before was a write
        self.settle()

    # --- which cells an address opens, for faults of the decoder -----------------------------------
    def opened(self, address):
        kind, places, p = self.kind, self.places, self.p
        if kind == "ABIT stuck":
            line, value = p
            bits = format(address, "08b")[::-1]
            bits = bits[:line] + str(value) + bits[line + 1 :]
            return [int(bits[::-1], 2)]
        if kind in ("ABIT bridge", "ABIT swap"):
            bits = list(format(address, "08b")[::-1])
            a, b = bits[p[0]], bits[p[1]]
            if kind == "ABIT swap":
                bits[p[0]], bits[p[1]] = b, a
            else:
                both = min(a, b) if p[2] == "and" else max(a, b)
                bits[p[0]] = bits[p[1]] = both
            return [int("".join(bits[::-1]), 2)]
        if address == places[0]:
            if kind in ("AF-A", "AF-A hold", "SOF", "AF-B"):
                return []
            if kind == "AF-C":
                return [places[1]]
            if kind == "AF-D":
                return [places[0], places[1]]
        if kind == "AF-B" and address == places[1]:
            return [places[0], places[1]]
        return [address]

    def decoder_read(self, address):
        values = [self.cell[c] for c in self.opened(address)]
        if not values:
            return self.latch if self.kind in ("AF-A hold", "SOF") else self.p[0]
        return min(values) if self.p and self.p[-1] == "and" else max(values)

    # --- one operation ---------------------------------------------------------------------------------
    def operate(self, address, kind, data):
        """Do one operation; return what a read gives, None for a write."""
        if self.kind.startswith(("AF", "ABIT")) or self.kind == "SOF":
            if kind == "w":
                for c in self.opened(address):
                    self.cell[c] = data
                return None
            self.latch = self.decoder_read(address)
            return self.latch
        before = self.cell[address]
        if kind == "w":
            self.cell[address] = data
            result = None
        else:
            result = before
        result = self.own_operation_fault(address, kind, before, data, result)
        self.couple(address, kind, before, data)
        self.settle()
        self.last_write = (address, before, data) if kind == "w" else None
        return result

    def pause(self):
        self.last_write = None

    def own_operation_fault(self, address, kind, before, data, result):
        """TF, WDF, RDF, DRDF, IRF and their coupled and dynamic forms, in the faulty cell's own operation."""
        coupled = {"CFtr": "TF", "CFwd": "WDF", "CFrd": "RDF", "CFdr": "DRDF", "CFir": "IRF"}
        name, p = self.kind, self.p
        if address != self.places[-1] or name == "dCFds":
            return result
        if name in coupled or (name in ("dRDF", "dDRDF", "dIRF") and len(p) == 3):
            if self.cell[self.places[0]] != p[0]:
                return result
            name, p = coupled.get(name, name), p[1:]
        if name in ("TF+CFin", "TF+CFid"):
            name = "TF"
        if name in ("dRDF", "dDRDF", "dIRF"):
            if kind != "r" or self.last_write != (address, p[0], p[1]) or before != p[1]:
                return result
            name, p = name[1:], (p[1],)
        if name == "TF" and kind == "w" and before == p[0] and data != before:
            self.cell[address] = before
        elif name == "WDF" and kind == "w" and before == p[0] and data == before:
            self.cell[address] = 1 - before
        elif name in ("RDF", "DRDF", "IRF") and kind == "r" and before == p[0]:
            if name != "IRF":
                self.cell[address] = 1 - before
            if name != "DRDF":
                result = 1 - before
        return result

    def couple(self, address, kind, before, data):
        """What the operation on an aggressor does to the victim, after the operation."""
        name, places = self.kind, self.places
        if name not in (
            "CFin",
            "CFid",
            "CFds",
            "dCFds",
            "LCFid 2c",
            "LCFid 3c",
            "LCFin 3c",
            "TF+CFin",
            "TF+CFid",
        ):
            return
        victim = places[-1]
        if address not in places[:-1]:
            return
        if name in ("CFds", "dCFds"):
            self.disturb(address, kind, before, data, victim)
        elif kind == "w" and data != before:
            self.transition(address, before, victim)

    def disturb(self, address, kind, before, data, victim):
        p = self.p
        if self.kind == "CFds":
            if (kind, before, before if kind == "r" else data) == (p[0], p[1], p[2]):
                self.cell[victim] = p[3]
        elif kind == "r" and self.last_write == (address, p[0], p[1]) and before == p[1]:
            self.cell[victim] = p[2]

    def transition(self, address, before, victim):
        """The aggressor has really changed, from ``before``."""
        name, p, which = self.kind, self.p, self.places.index(address)
        wanted = p[1] if name.startswith("TF+") else p[which]
        if name == "LCFid 2c":
            self.cell[victim] = p[0] if before == 0 else 1 - p[0]
        elif before == wanted:
            if name in ("CFin", "LCFin 3c", "TF+CFin"):
                self.cell[victim] = 1 - self.cell[victim]
            elif name == "LCFid 3c":
                self.cell[victim] = p[2] if which == 0 else 1 - p[2]
            else:
                self.cell[victim] = p[-1]

    def settle(self):
        """Faults that act by state, at power-up and after every operation."""
        if self.kind == "SAF":
            self.cell[self.places[0]] = self.p[0]
        elif self.kind == "CFst" and self.cell[self.places[0]] == self.p[0]:
            self.cell[self.places[1]] = self.p[1]


def detects(operations, kind, cells, parameters, content, latch=0):
    """Tell whether the operations see the fault, starting from ``content`` (a list of bits)."""
    memory = Memory(kind, cells, parameters, content, latch)
    for operation in operations:
        if operation is None:
            memory.pause()
            continue
        address, what, data = operation
        got = memory.operate(address, what, data)
        if what == "r" and got != data:
            return True
    return False


def detects_in_words(operations, bits, patterns, kind, cells, parameters, content):
    """The same for words of ``bits`` bits; coupling acts after the whole word is written, and wins.

    ``operations`` are those of the march test on word addresses, repeated for each background.
    """
    cell = list(content)
    aggressor, victim = cells

    def settle():
        if kind == "CFst" and cell[aggressor] == parameters[0]:
            cell[victim] = parameters[1]

    settle()
    for background in patterns:
        for address, what, data in operations:
            word = [(background >> i & 1) ^ data for i in range(bits)]
            where = range(address * bits, address * bits + bits)
            if what == "r":
                if [cell[c] for c in where] != word:
                    return True
                continue
            was = cell[aggressor]
            for c, bit in zip(where, word, strict=True):
                cell[c] = bit
            if aggressor in where and was == parameters[0] and cell[aggressor] != was:
                if kind == "CFid":
                    cell[victim] = parameters[1]
                elif kind == "CFin":
                    cell[victim] = 1 - cell[victim]
            settle()
    return False

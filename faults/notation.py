"""Faults as text: ``rope/address/10:stuck-0``, ``core/sense/3+4:shorted-or@5% & core/x/13:open``.

``docs/reference/fault-notation.md`` has the grammar.
"""

from collections.abc import Iterator
from typing import NoReturn

from attrs import frozen

from emu.errors import Code, InputError, Problem, declare, nearest
from emu.gates import Gate
from emu.where import Source
from emu.words import WordFormat
from faults.boards.board import FAULT_PLACE, Board
from faults.fault import Fault, FaultPart, natural
from faults.gatetext import gate_text, read_gate
from faults.kinds import Kind, all_kinds
from faults.sites import Site

MAX_TEXT = 4000
MAX_PARTS = 16

SYNTAX = declare(
    "fault-syntax",
    "A fault is written SITE:KIND, with @ and when it is there if it comes and goes, and & between several.",
    "Write it like rope/address/10:stuck-0 or core/sense/3+4:shorted-or@5%.",
    "rope/address/10",
    "fault",
)
UNKNOWN_KIND = declare(
    "unknown-fault-kind",
    "The word after the colon is a kind of fault, with its form.",
    "See docs/reference/faults for the kinds and their forms.",
    "rope/address/10:stuk-0",
    "fault",
)
DOES_NOT_FIT = declare(
    "fault-does-not-fit",
    "A kind of fault applies to some sites, alone or in pairs of a kind.",
    "Choose a site of the sort that the page of the kind names.",
    "core/cell/0o17/3+0o20/3:shorted-or",
    "fault",
)
WHEN = declare(
    "fault-when",
    "After @ stands a chance, mean times of a bad contact, a condition, an address before, or accesses.",
    "Write it like @5%, @open:2ms,closed:50ms, @when:warm, @after:0o17 or @accesses:100..200.",
    "rope/address/10:stuck-0@sometimes",
    "fault",
)


def parse_fault(text: str, board: Board) -> Fault:
    """Return the fault that a text means on a board. Raises InputError with the column in the text."""
    reader = _Reader(Source(FAULT_PLACE, text), board)
    if len(text) > MAX_TEXT:
        reader.refuse(SYNTAX, f"a fault has at most {MAX_TEXT} characters; this has {len(text)}", 0, 1)
    pieces = list(_split(text, "&"))
    if len(pieces) > MAX_PARTS:
        reader.refuse(SYNTAX, f"at most {MAX_PARTS} faults at once; given {len(pieces)}", 0, 1)
    return Fault(tuple(reader.part(piece) for piece in pieces))


def fault_text(fault: Fault, board: Board | None = None) -> str:
    """Return a fault as text, which reads back as the same fault.

    ``board`` gives the base of addresses after which a fault is there; without it they are hexadecimal.
    """
    addresses = address_format(board) if board else WordFormat(32, base=16)
    return " & ".join(_part_text(part, addresses) for part in fault.parts)


def address_format(board: Board) -> WordFormat:
    """Return how a board's store addresses are written."""
    widest = max(s.words - 1 for s in board.shapes).bit_length()
    return WordFormat(max(1, widest), base=board.machine.word.base)


def _part_text(part: FaultPart, addresses: WordFormat) -> str:
    first, *others = part.sites
    sites = "+".join((first, *(_tail(first, other) for other in others)))
    kind = "-".join((part.kind, *part.params))
    return "".join((f"{sites}:{kind}", *(f"@{gate_text(g, addresses)}" for g in part.gates)))


def _tail(first: str, other: str) -> str:
    """Return the parts of a path that differ from another one's, at least the last."""
    ours, its = first.split("/"), other.split("/")
    same = 0
    while same < len(its) - 1 and same < len(ours) and ours[same] == its[same]:
        same += 1
    return "/".join(its[same:]) if len(ours) == len(its) else other


@frozen
class _Piece:
    """Some text and where it begins."""

    text: str
    start: int

    @property
    def trimmed(self) -> "_Piece":
        left = len(self.text) - len(self.text.lstrip())
        return _Piece(self.text.strip(), self.start + left)


def _split(text: str, at: str, start: int = 0) -> Iterator[_Piece]:
    for piece in text.split(at):
        yield _Piece(piece, start).trimmed
        start += len(piece) + 1


@frozen
class _Reader:
    source: Source
    board: Board

    def refuse(self, code: Code, message: str, start: int, length: int, hint: str = "") -> NoReturn:
        place = self.source.place(start, max(1, length))
        raise InputError([Problem(code, message, place, hint, (), self.source.line(place.line))])

    def part(self, piece: _Piece) -> FaultPart:
        where, colon, rest = piece.text.partition(":")
        if not colon:
            shown = piece.text[:60] or "nothing"
            message = f"a fault is written SITE:KIND; given {shown!r}"
            self.refuse(SYNTAX, message, piece.start, len(piece.text), self._missing_hint(piece.text))
        name, *gates = list(_split(rest, "@", piece.start + len(where) + 1))
        kind, params = self.kind(name)
        sites = self.sites(_Piece(where, piece.start).trimmed, kind)
        reason = kind.reason_against(sites, params)
        if reason:
            self.refuse(
                DOES_NOT_FIT, reason, piece.start, len(piece.text.split("@")[0]), self._fit_hint(sites)
            )
        paths = tuple(s.path for s in sites)
        return FaultPart(kind.name, paths, params, tuple(self.gates(gates)))

    @property
    def _line(self) -> str:
        return f"{self.board.machine.stores[0].name}/address"

    def _missing_hint(self, text: str) -> str:
        found = self.board.tree.find(text)
        if found is None:
            return f"for instance {self._line}/0:stuck-0"
        return self._fit_hint((self.board.site(text),))

    def _fit_hint(self, sites: tuple[Site, ...]) -> str:
        kinds = [(t, k, p) for t, k, p in _texts() if k.pair == (len(sites) > 1)]
        fitting = [t for t, k, p in kinds if not k.reason_against(sites, p)]
        return f"there one may write {', '.join(fitting)}" if fitting else ""

    def kind(self, piece: _Piece) -> tuple[Kind, tuple[str, ...]]:
        found = next(((kind, params) for text, kind, params in _texts() if text == piece.text), None)
        return found or self._refuse_kind(piece)

    def _refuse_kind(self, piece: _Piece) -> NoReturn:
        forms = [text for text, kind, _ in _texts() if kind.name == piece.text]
        near = nearest(piece.text, [text for text, _, _ in _texts()])
        hint = f"its forms are {', '.join(forms)}" if forms else near
        hint = hint or f"the kinds are {', '.join(all_kinds())}"
        given = piece.text[:40] or "nothing"
        self.refuse(
            UNKNOWN_KIND, f"after the colon stands a kind of fault; given {given!r}", piece.start,
            len(piece.text), hint,
        )  # fmt: skip

    def sites(self, piece: _Piece, kind: Kind) -> tuple[Site, ...]:
        pieces = list(_split(piece.text, "+", piece.start))
        wanted = 2 if kind.pair else 1
        if len(pieces) != wanted:
            said = "lies between two sites, joined by +" if kind.pair else "lies at one site"
            hint = f"for instance {self._line}/0+1" if kind.pair else "join several faults by &"
            message = f"{kind.name!r} {said}; given {len(pieces)}"
            self.refuse(DOES_NOT_FIT, message, piece.start, len(piece.text), hint)
        first = self.site(pieces[0].text, pieces[0])
        others = [self.site(_completed(first.path, p.text), p) for p in pieces[1:]]
        sites = (first, *others)
        return tuple(sorted(sites, key=lambda s: natural(s.path))) if kind.symmetric else sites

    def site(self, path: str, piece: _Piece) -> Site:
        place = self.source.place(piece.start, max(1, len(piece.text)))
        return self.board.site(path, place=place, source_line=self.source.line(place.line))

    def gates(self, pieces: list[_Piece]) -> Iterator[Gate]:
        """Yield the gates of a part; one twice is refused, for @5% @5% would be taken for @5%."""
        seen: set[Gate] = set()
        for piece in pieces:
            gate = self.gate(piece)
            if gate in seen:
                self.refuse(WHEN, f"'@{piece.text}' stands twice", piece.start, len(piece.text))
            seen.add(gate)
            yield gate

    def gate(self, piece: _Piece) -> Gate:
        try:
            return read_gate(piece.text, address_format(self.board))
        except ValueError as error:
            self.refuse(WHEN, str(error), piece.start, len(piece.text))


def _texts() -> list[tuple[str, Kind, tuple[str, ...]]]:
    return [(kind.text(p), kind, p) for kind in all_kinds().values() for p in kind.variants]


def _completed(first: str, tail: str) -> str:
    """Return the path that ``tail`` means after another path: its parts replace the last ones."""
    ours, its = first.split("/"), tail.split("/")
    return "/".join(ours[: -len(its)] + its) if len(its) < len(ours) else tail

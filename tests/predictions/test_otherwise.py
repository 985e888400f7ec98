"""A dump misread in a usual way is known although a fault spoils half of its words."""

import numpy as np
import pytest

from emu.load import load_machine
from faults.boards import load_board
from faults.case.model import Dump
from faults.dump import scattered
from faults.lower import plan_of
from faults.notation import parse_fault
from faults.predictions.book import Book
from faults.predictions.dumps import dump_misfit
from faults.predictions.evidence import Observed
from faults.predictions.otherwise import read_otherwise
from faults.predictions.plans import Plans
from faults.predictions.reading import readings

FULMAR = load_machine("fulmar")
BOARD = load_board(FULMAR)
STORE = 1
HELD = scattered(FULMAR, STORE)
FAULTS = [
    parse_fault(f"rope/address/{n}:{kind}", BOARD) for n in range(15) for kind in ("stuck-0", "stuck-1")
]
PLANS = Plans(BOARD, cached=False)
DIGESTS = [PLANS.digest(fault) for fault in FAULTS]


def taken(words):
    """What is said of a file with these words, of which none is suspected as it stands."""
    full = np.full(len(words), (1 << 16) - 1, np.int64)
    dump = Observed(0, Dump(store="rope", file="x"), STORE, words, full, HELD, full | 1 << 16)
    book = Book(PLANS, STORE, HELD)
    misfit = dump_misfit(dump, book, FAULTS, DIGESTS)
    return read_otherwise(dump, misfit, (FAULTS, DIGESTS), book, BOARD)


def read_under(fault):
    return readings(plan_of(BOARD, parse_fault(fault, BOARD)), STORE, HELD) & 0xFFFF


def as_file(words):
    return words.astype(">u2").tobytes()


def from_file(data):
    return np.frombuffer(data, ">u2").astype(np.int64)


@pytest.mark.parametrize(
    ("spoilt", "said"),
    [
        (lambda data: np.frombuffer(data, ">u2").byteswap().tobytes(), "bytes of every word"),
        (lambda data: bytes(255 - b for b in data), "inverted"),
        (lambda data: data[1:] + b"\0", "first byte of the file is missing"),
        (lambda data: b"\0" + data[:-1], "one byte too many"),
        (lambda data: data[2:] + b"\0\0", "1 address before"),
        (lambda data: bytes(32) + data[:-32], "16 addresses after"),
    ],
)
def test_what_was_done_to_the_file_is_named_and_the_fault_too(spoilt, said):
    found = taken(from_file(spoilt(as_file(read_under("rope/address/12:stuck-1")))))
    assert found is not None
    assert said in found.sentence
    assert "rope/address/12:stuck-1 would explain all but" in found.sentence


def test_a_dump_that_a_fault_explains_and_one_that_nothing_explains_are_left_alone():
    assert taken(read_under("rope/address/12:stuck-1")) is None
    assert taken(np.random.default_rng(1).integers(0, 1 << 16, len(HELD))) is None
    assert taken(np.zeros(len(HELD), np.int64)) is None  # words all alike prove nothing


def test_two_faults_at_once_are_not_called_a_misread_file():
    both = "rope/address/12:stuck-1 & rope/address/3:stuck-0"
    assert taken(read_under(both)) is None

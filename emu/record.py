"""The closed list of events of a run, and when each fires."""

from typing import Literal

from attrs import frozen

EventKind = Literal[
    "fetch",  # a word was read as an instruction; address is the store address, word what the processor got
    "read",  # a word was read as data
    "write",  # a word was sent to be written (also one that a read-only store ignores)
    "alarm",  # an alarm was raised; detail is its name; store/address those of the access that raised it
    "restart",  # the machine restarted; word is the restart count from now on
    "output",  # a word left at an output port; address is the port number
    "stop",  # the run ended; detail is the kind of stop
]


@frozen
class Event:
    """One event.

    ``access`` counts memory accesses from 0 (the number of the access, or of the next one for events that
    are no access). ``store`` is a store's number, -1 where there is none. ``pc`` is the address of the
    instruction that was being executed.
    """

    kind: EventKind
    step: int
    access: int
    time_ns: int
    pc: int
    store: int = -1
    address: int = 0
    word: int = 0
    detail: str = ""

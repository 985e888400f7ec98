"""A strobe that comes too early or too late."""

from attrs import evolve

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.words import masked
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import STAGE_STROBE, Control


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:  # noqa: ARG001
    role = sites[0].role
    assert isinstance(role, Control), "reason_against lets no other role in"
    pulses = evolve(sites[0], stage=STAGE_STROBE)
    return (masked(pulses, role.store, "read", role.region, role.bits, 0, role.worst),)


def _fits(sites: Sites, params: Params) -> str:  # noqa: ARG001
    role = sites[0].role
    strobe = isinstance(role, Control) and role.purpose == "strobe"
    return "" if strobe else "only a strobe is mistimed"


KIND = Kind(
    "mistimed",
    "Mistimed: a strobe too early or too late",
    (Control,),
    _lower,
    Entry(
        what=(
            "The strobe that says when the sense amplifiers are looked at comes before the pulse of a one "
            "has risen, or after it has gone."
        ),
        see=(
            "Ones are lost, in all bits alike, and first where the noise is against the signal: in half "
            "of the addresses, chequered as the winding of the sense wires has it. Where no "
            "winding is known, or in a woven store, all ones are lost. As named, the fault loses them each "
            "time; with a chance it is the sporadic fault that people meet. The model cannot tell early from "
            "late."
        ),
        confirm=(
            "Look at a sense amplifier's input against the strobe: the pulse of a one should be near its "
            "peak. Early or late is seen there at once."
        ),
        confused=("Drive current too low; a weak sense amplifier, which strikes a single bit."),
        caution=(
            "Note where a trimmer stood before it is turned. In single step a pulse may come at another "
            "time than in a run."
        ),
    ),
    "core/strobe:mistimed-late@30%",
    variants=(("early",), ("late",)),
    fits=_fits,
    weight=0.5,
    shown_by="gates",
)

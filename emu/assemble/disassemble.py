"""From words back to a program that assembles to exactly these words."""

from collections.abc import Iterator
from functools import lru_cache
from typing import Final

from emu.assemble.forms import InstructionSet
from emu.assemble.layout import Layout, Spot, digits
from emu.image import MemoryImage, ProgramImage
from emu.spec import MachineSpec
from emu.words import mask

COMMENT_COLUMN: Final = 32


@lru_cache(maxsize=8)
def _made(identity: int) -> list[InstructionSet]:
    """Return the box, empty at first, that keeps the instruction set of one machine object."""
    assert identity >= 0
    return []


def instruction_set(machine: MachineSpec) -> InstructionSet:
    """Return the instruction set of a machine, made once for the last few machines."""
    box = _made(id(machine))
    if not box or box[0].machine is not machine:
        box[:] = [InstructionSet(machine)]
    return box[0]


def disassemble_word(machine: MachineSpec, word: int, address: int | None = None) -> str:
    """Return a data word as one line of assembly, without label or comment.

    A word that no instruction's writing makes, because it is no instruction or has bits set that do not
    matter, is a ``.word``. ``address``: where it stands, for relative operands; None if nowhere.
    ValueError if the word has more bits than the machine's words.
    """
    if not 0 <= word <= mask(machine.word.bits):
        raise ValueError(f"a word of {machine.word.bits} bits is needed, got {word:#x}")
    return instruction_set(machine).text(word, address) or f".word {machine.word.tagged(word)}"


def disassemble_image(machine: MachineSpec, image: ProgramImage) -> str:
    """Return a program that assembles to the same segments and entry; its names are left out.

    ValueError if a word is not wholly known or has other bits than the data bits of its store, for then
    no program can make it.
    """
    layout = Layout(machine)
    lines = [f"; {machine.name}: {machine.word.numbering_sentence()}"]
    if image.entry is not None:
        lines.append(f"        .start {digits(image.entry, layout.base)}")
    for name in sorted(image.segments):
        _check(machine, name, image.segments[name])
        lines += _segment(layout, name, image.segments[name])
    return "\n".join(lines) + "\n"


def _check(machine: MachineSpec, name: str, segment: MemoryImage) -> None:
    if segment.bits != machine.store(name).data_bits:
        raise ValueError(
            f"store {name} has words of {machine.store(name).data_bits} data bits, got {segment.bits}"
        )
    for index, _, known in segment.words():
        if known != mask(segment.bits):
            raise ValueError(f"a word must be wholly known to be disassembled, got {name} word {index}")


def _segment(layout: Layout, name: str, segment: MemoryImage) -> Iterator[str]:
    expected: Spot | None = None
    for index, word, _ in segment.words():
        spot = layout.spot_in(name, index)
        if expected is None or spot != expected:
            yield from _place(layout, name, spot)
        expected = layout.after(spot, 1)
        yield _line(layout, spot, word)


def _place(layout: Layout, name: str, spot: Spot) -> Iterator[str]:
    yield ""
    if spot.window < 0:
        yield f"        .in {name}, {digits(spot.index, layout.base)}"
        return
    if spot.bank is not None:
        yield f"        .bank {digits(spot.bank, layout.base)}"
    yield f"        .at {digits(spot.address, layout.base)}"


def _line(layout: Layout, spot: Spot, word: int) -> str:
    machine = layout.machine
    address = spot.address if spot.window >= 0 else None
    text = f"        {disassemble_word(machine, word, address)}"
    where = layout.address_format().text(spot.address) if spot.window >= 0 else str(spot.index)
    return f"{text:<{COMMENT_COLUMN}}; {where}  {machine.word.text(word)}"

"""The assembler and the disassembler of every machine, derived from its machine file."""

from emu.assemble.assembly import Assembly, assemble
from emu.assemble.disassemble import disassemble_image, disassemble_word
from emu.assemble.listing import render_listing, render_symbols
from emu.assemble.symbols import Symbol

__all__ = [
    "Assembly",
    "Symbol",
    "assemble",
    "disassemble_image",
    "disassemble_word",
    "render_listing",
    "render_symbols",
]

"""Machines: word formats, machine files, assembler, memory plans and engines."""

"""Everything wrong inside the files that a case names: what matching would stumble over, found beforehand."""

from collections.abc import Callable
from functools import partial
from typing import Any

from emu.errors import InputError, Problem
from emu.words import WordFormat
from faults.case.model import Addresses, Capture, Dump, Entry
from faults.case.readings import read_addresses, read_text
from faults.predictions.captures import read_capture
from faults.predictions.scene import Scene


def file_problems(scene: Scene, first: int = 0) -> tuple[Problem, ...]:
    """Return the errors and warnings of the files of all entries from number ``first`` on, each once."""
    found: list[Problem] = []
    for number, entry in enumerate(scene.case.entries):
        if number >= first:
            found += _tried(partial(_program, scene, entry))
            found += _tried(partial(_files, scene, number, entry))
    return tuple(dict.fromkeys(found))


def _tried(read: Callable[[], tuple[Problem, ...]]) -> tuple[Problem, ...]:
    try:
        return read()
    except InputError as error:
        return tuple(error.problems)


def _program(scene: Scene, entry: Entry) -> tuple[Problem, ...]:
    name: Any = getattr(entry, "program", "")
    if name:
        scene.program(name)
    return ()


def _files(scene: Scene, number: int, entry: Entry) -> tuple[Problem, ...]:
    match entry:
        case Dump():
            spec = scene.machine.store(entry.store)
            warnings = scene.dump(entry.file, spec, entry.layout, scene.case.place(entry, "layout")).warnings
            return warnings + (scene.dump(entry.expected, spec).warnings if entry.expected else ())
        case Addresses() if entry.file:
            words = scene.machine.store(entry.store).words
            form = WordFormat(max(1, (words - 1).bit_length()), base=scene.machine.word.base)
            read_addresses(read_text(scene.case.path_of(entry.file)), form)
        case Capture():
            read_capture(scene, number, entry)
        case _:
            pass
    return ()

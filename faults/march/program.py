"""From a march test to an assembly program for a real machine, by the machine's march template."""

import re
from collections.abc import Iterator, Sequence
from itertools import combinations
from pathlib import Path
from string import Template as Text
from textwrap import wrap

from emu.codes import check_bits, encode
from emu.errors import declare, fail, nearest
from emu.spec import MachineSpec, StoreSpec
from emu.tomlfile import CANNOT_READ
from emu.where import Place
from faults.march.backgrounds import backgrounds
from faults.march.notation import Delay, Element, MarchTest, Order
from faults.march.operations import Test
from faults.march.template import CodeTable, PlaceTable, Template

Pair = tuple[int, int]
NO_PLACE = declare(
    "march-no-place",
    "A march program stands at one of the places of the machine's march template.",
    "Take one of the places named, or leave --place out for the first.",
)
NO_MARCH = declare(
    "march-no-program",
    "Only a march test becomes a program; tests that jump between addresses do not.",
    "Take a march test from the list of names, or write one in march notation.",
)
_OPERATIONS = {
    (False, 0): "read low",
    (False, 1): "read high",
    (True, 0): "write low",
    (True, 1): "write high",
}
_INCLUDE = re.compile(r'^[ \t]*\.include[ \t]+"([^"]+)".*$', re.MULTILINE)


def word_pairs(store: StoreSpec, *, solid: bool = False) -> tuple[Pair, ...]:
    """Return the pairs of data words that a march is run with: what 0 and 1 stand for.

    The data backgrounds of a word-oriented memory and their complements (all zeros and all ones only, if
    ``solid``), then pairs between which every check bit changes that did not change before: without them
    a march cannot see both values in the check bits.
    """
    full = (1 << store.data_bits) - 1
    grounds = [0] if solid else backgrounds(store.data_bits)
    pairs = [(ground, ground ^ full) for ground in grounds]
    changed = 0
    for low, high in pairs:
        changed |= _checks_changed(store, low ^ high)
    wanted = ((1 << check_bits(store.protection, store.data_bits)) - 1) & ~changed
    return (*pairs, *((0, word) for word in _words_changing(store, wanted)))


def _checks_changed(store: StoreSpec, word: int) -> int:
    """Return which check bits differ between the words 0 and ``word`` (the codes are linear)."""
    both = encode(store.protection, store.data_bits, 0) ^ encode(store.protection, store.data_bits, word)
    return both >> store.data_bits


def _words_changing(store: StoreSpec, wanted: int) -> Iterator[int]:
    """Yield words of few ones that together change every check bit of ``wanted``."""
    while wanted:
        few = (sum(c) for n in (1, 2, 3) for c in combinations([1 << i for i in range(store.data_bits)], n))
        best = max(few, key=lambda word: (_checks_changed(store, word) & wanted).bit_count())
        wanted &= ~_checks_changed(store, best)
        yield best


def march_program(
    name: str, test: Test, machine: MachineSpec, template: Template, *, place: str = "", solid: bool = False
) -> str:
    """Return the source of a program that runs a march test; it needs no other file.

    ``place``: where it stands, "" for the first place of the template. ``solid``: with all zeros and all ones
    only. Either-way elements go up. Raises InputError for a test that is no march or an unknown place.
    """
    if not isinstance(test, MarchTest):
        fail(NO_MARCH, f"{name} is no march test", Place("<march>"))
    where = template.place(place)
    if where is None:
        names = [p.name for p in template.places]
        hint = nearest(place, names) or f"places: {', '.join(names)}"
        message = f"{machine.name} has no place {place!r} for march programs"
        fail(NO_PLACE, message, Place("--place"), hint=hint)
    pairs = word_pairs(machine.store(template.store), solid=solid)
    code = template.code
    table = "\n".join(_pairs(code, pairs, machine))
    body = "".join(_elements(code, test))
    parts = [
        _head(name, test, machine, template, where, pairs),
        code.begin,
        body,
        Text(code.end).substitute(pairs=table, pair_count=machine.word.tagged(len(pairs))),
    ]
    return _with_includes("\n".join(part.strip("\n") for part in parts) + "\n", template)


def _head(
    name: str,
    test: MarchTest,
    machine: MachineSpec,
    template: Template,
    place: PlaceTable,
    pairs: Sequence[Pair],
) -> str:
    shown = ", ".join(f"{machine.word.tagged(low)}/{machine.word.tagged(high)}" for low, high in pairs)
    notation = str(test)
    paragraphs = [
        f"machine: {machine.name}",
        "",
        f"{name}, a march of {test.length} operations a word" + (f": {notation}" if name != notation else ""),
        f"over {template.store}, once for each pair of words that 0 and 1 stand for: {shown}",
        "",
        f"{place.doc} {' '.join(template.doc.split())}",
        "Either-way elements go up. The words tested are destroyed.",
    ]
    comments = [f"; {line}".rstrip() for p in paragraphs for line in wrap(p, 108) or [""]]
    lets = (f".let FIRST = {place.first}", f".let LAST = {place.last}")
    return "\n".join((*comments, "", *place.lets, *lets, ""))


def _elements(code: CodeTable, test: MarchTest) -> Iterator[str]:
    for number, element in enumerate(test.elements, 1):
        if isinstance(element, Delay):
            yield f"\n        ; element {number}: pause\n" + Text(code.pause).substitute(n=number)
        else:
            yield from _element(code, number, element)


def _element(code: CodeTable, number: int, element: Element) -> Iterator[str]:
    down = element.order is Order.DOWN
    words = ", ".join(_OPERATIONS[op.write, op.data] for op in element.ops)
    yield f"\n        ; element {number}, {'down' if down else 'up'}: {words}\n"
    yield Text(code.down if down else code.up).substitute(n=number)
    for place, op in enumerate(element.ops, 1):
        data = "high" if op.data else "low"
        yield Text(code.write if op.write else code.read).substitute(n=number, k=place, data=data)
    yield Text(code.down_end if down else code.up_end).substitute(n=number)


def _pairs(code: CodeTable, pairs: Sequence[Pair], machine: MachineSpec) -> Iterator[str]:
    tag = machine.word.tagged
    for number, (low, high) in enumerate(pairs, 1):
        yield Text(code.pair).substitute(number=tag(number), low=tag(low), high=tag(high)).strip("\n")


def _with_includes(source: str, template: Template) -> str:
    """Return the source with the files that it includes, which lie beside the template, put in."""

    def put_in(line: re.Match[str]) -> str:
        return _included(template.folder, line[1])

    return _INCLUDE.sub(put_in, source)


def _included(folder: Path, name: str) -> str:
    # a template from a stranger must not make us copy any file of the reader's
    inside = not Path(name).is_absolute() and ".." not in Path(name).parts
    try:
        text = (folder / name).read_text(encoding="utf-8-sig") if inside else None
        reason = "it does not"
    except (OSError, ValueError) as error:
        text, reason = None, getattr(error, "strerror", None) or "it is no text in UTF-8"
    if text is None:
        rule = "an included file lies in the folder of the template or below it"
        fail(CANNOT_READ, f"{rule}; {name!r}: {reason}", Place("--template"))
    return text.rstrip("\n")

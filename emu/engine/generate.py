"""A machine -> the text of its generated module: one function a variant, made from the typed tree.

The module is self-contained but for the names that ``emu.engine.compiled`` gives it: the decorators
``kernel``, ``inner`` and ``inlined``, and ``mix``, ``draw`` and ``ctpop``, whose compiled and plain forms
differ.
"""

import inspect
from types import ModuleType
from typing import Final

from emu.codes import sec_ded_row_masks
from emu.engine import noting, planned, wordops
from emu.engine.kernel import Kernel
from emu.engine.layout import Layout
from emu.engine.seen import running_lines, writing_lines
from emu.engine.variants import VARIANTS
from emu.spec import MachineSpec, WindowSpec
from emu.words import mask

_GIVEN: Final = {"mix", "draw", "ctpop"}
_CALLED: Final = {  # too long, or too often called, to stand inlined at every place
    "read_planned", "write_planned", "read_tables", "write_tables", "force_at_start", "event", "note",
    "note_read", "note_write", "take_back", "set_noted",
}  # fmt: skip


def _place(machine: MachineSpec, layout: Layout) -> list[str]:
    """Return the function from a machine address (and bank registers) to a flat cell, -1 for none."""
    banks = list(dict.fromkeys(w.bank for w in machine.windows if w.bank))
    lines = ["@inner", f"def place(x{''.join(f', b{i}' for i in range(len(banks)))}):"]
    reached = 0  # every address below lies in an earlier window
    for window in machine.windows:
        tests = []
        if window.first != reached or (not reached and window.first):
            tests.append(f"x >= {window.first}")
        if window.last < mask(machine.address_bits):
            tests.append(f"x <= {window.last}")
        reached = window.last + 1 if window.first == reached else reached
        indent = "    "
        if tests:
            lines.append(f"    if {' and '.join(tests)}:")
            indent = "        "
        lines += [indent + text for text in _within(machine, layout, window, banks)]
    return [*lines, "    return -1", ""]


def _within(machine: MachineSpec, layout: Layout, window: WindowSpec, banks: list[str]) -> list[str]:
    store, base = machine.store(window.store), layout.bases[machine.store_index(window.store)]
    index = f"(x - {window.first})" if window.first else "x"
    if window.unit > 1:
        power = window.unit & (window.unit - 1) == 0
        index = f"({index} >> {window.unit.bit_length() - 1})" if power else f"({index} // {window.unit})"
    most = (window.last - window.first) // window.unit + window.offset
    if window.bank:
        index = f"{index} + b{banks.index(window.bank)} * {window.size}"
        most += mask(machine.register(window.bank).bits) * window.size
    if window.offset:
        index = f"{index} + {window.offset}"
    if most < store.words:
        return [f"return {index} + {base}"]
    if store.words & (store.words - 1) == 0:
        return [f"return (({index}) & {store.words - 1}) + {base}"]
    if most < 2 * store.words:
        return [f"i = {index}", f"return i - {store.words - base} if i >= {store.words} else i + {base}"]
    return [f"return ({index}) % {store.words} + {base}"]


def _store_of(layout: Layout) -> list[str]:
    """Return the functions from a flat cell to its store's number and base."""
    lines = []
    for name, values in (("store_of", range(len(layout.bases))), ("base_of", layout.bases)):
        lines += ["@inner", f"def {name}(cell):"]
        for value, end in zip(values, layout.bases[1:-1], strict=False):
            lines += [f"    if cell < {end}:", f"        return {value}"]
        lines += [f"    return {list(values)[len(layout.bases) - 2]}", ""]
    return lines


def _syndromes(machine: MachineSpec) -> list[str]:
    lines = []
    for bits in dict.fromkeys(s.data_bits for s in machine.stores if s.protection == "sec-ded"):
        rows = [f"((ctpop(w & {row}) & 1) << {j})" for j, row in enumerate(sec_ded_row_masks(bits))]
        lines += ["@inner", f"def syndrome_{bits}(w):", f"    return {' | '.join(rows)}", ""]
    return lines


def _decoder() -> list[str]:
    """Return the walk through a decoding tree: nodes of shift, mask, then one entry a value."""
    return [
        "@inner",
        "def decode(dec, word):",
        "    at = 0",
        "    while at >= 0:",
        "        at = dec[at + 2 + ((word >> dec[at]) & dec[at + 1])]",
        "    return -at - 2",
        "",
    ]


def _observe(machine: MachineSpec, layout: Layout) -> list[str]:
    """Return the hash of what a person could see of a run that has stopped."""
    lines = [
        "@inner", "def observe(st):", "    endless = st[STOP] == 3 and st[LOOP_RESTARTS] > 0",
        "    h = mix(st[STOP], st[OUTPUT_HASH])",
        "    if st[STOP] == 3:",
        "        h = mix(mix(h ^ st[LOOP_LOW], st[LOOP_HIGH]) ^ st[LOOP_NS], st[LOOP_RESTARTS])",
        "    else:",
        "        h = mix(h ^ st[STOP_PC], st[TIME])",
    ]  # fmt: skip
    for lamp in machine.lamps:
        if lamp.shows != "restarts" and not lamp.shows.startswith("alarm:"):
            index = [r.name for r in layout.singles].index(lamp.shows)
            lines.append(f"        h = mix(h, st[{layout.at['REGISTERS'] + index}])")
    for alarm in machine.alarms:
        at = layout.alarm_at(alarm.name)
        lines += [
            f"    if st[{at}]:",
            f"        h = mix(h ^ {at}, -1 if endless else st[{at}])",
            f"        h = mix(mix(mix(h, st[{at + 1}]), st[{at + 2}]), st[{at + 3}])",
        ]
    return [*lines, "    return mix(h, -1 if endless else st[RESTARTS])", ""]


_BATCH = """
@inner
def advance_reference(st, mem, past_mem, out, inp, dec, tab, step):
    while st[STEPS] < step and st[STOP] == 0:
        st[SLICE] = step
        run_healthy(st, mem, out, inp, dec, tab)
        if st[PAST] and st[PAST_STEPS] == st[STEPS]:
            for j in range(len(mem)):
                past_mem[j] = mem[j]


@inner
def catch_up(work, mem, past_mem, undo, stamp, cell, in_and, in_or, written):
    set_noted(work, mem, undo, stamp, cell, (mem[cell] & in_and) | in_or)
    if work[PAST] and written < work[PAST_STEPS]:
        was = past_mem[cell]
        work[PAST_HASH] ^= mix(cell, was) ^ mix(cell, (was & in_and) | in_or)


@kernel
def run_batch(st, work, mem, past_mem, out, inp, dec, tab, undo, stamp, faults, first, last, found):
    for i in range(first, last):
        q = 7 * i
        advance_reference(st, mem, past_mem, out, inp, dec, tab, faults[q + 5])
        epoch = work[EPOCH] + 1
        for j in range(len(st)):
            work[j] = st[j]
        work[EPOCH] = epoch
        work[UNDONE] = 0
        work[SLICE] = 1 << 62
        if work[STOP] == 0:
            if faults[q + 6] < work[STEPS]:
                masks = faults[q + 3], faults[q + 4]
                catch_up(work, mem, past_mem, undo, stamp, faults[q], *masks, faults[q + 6])
            run_cell(
                work, mem, out, inp, dec, tab, undo, stamp,
                faults[q], faults[q + 1], faults[q + 2], faults[q + 3], faults[q + 4],
            )
        take_back(work, mem, undo)
        found[3 * i] = observe(work)
        found[3 * i + 1] = work[STOP]
        found[3 * i + 2] = work[STEPS]
    return 0
"""


def _functions(module: ModuleType, names: set[str] | None = None) -> list[str]:
    """Return the text of a module's own functions (those named, or all), each to be compiled."""
    found: list[tuple[int, str]] = []
    for name, function in vars(module).items():
        if not inspect.isfunction(function) or function.__module__ != module.__name__ or name in _GIVEN:
            continue
        if names is None or name in names:
            text, line = inspect.getsourcelines(function)
            mark = "inner" if name in _CALLED else "inlined"
            found.append((line, f"@{mark}\n" + "".join(text)))
    return [text for _, text in sorted(found)]


def module_text(machine: MachineSpec) -> str:
    """Return the text of the generated module of a machine."""
    layout = Layout(machine)
    kernels, uses, sites = [], set[str](), 1
    for variant in VARIANTS:
        kernel = Kernel(layout=layout, variant=variant)
        kernel.write()
        kernels += [*kernel.lines, ""]
        uses |= kernel.text.uses
        sites = max(sites, kernel.outputs, kernel.events)
    constants = {**layout.at, "SITES": sites}
    head = ['"""Generated from a machine file; do not edit."""', "from __future__ import annotations", ""]
    head += [f"{name} = {value}" for name, value in constants.items()]
    head += ["Ints = object", ""]
    parts = [*_functions(wordops, uses), *_functions(planned), *_functions(noting)]
    own = [*_place(machine, layout), *_store_of(layout), *_syndromes(machine), *_decoder()]
    seen = writing_lines(machine, layout)
    tail = [*_observe(machine, layout), *seen, *kernels, _BATCH, *running_lines(machine)]
    return "\n".join([*head, *parts, *own, *tail])

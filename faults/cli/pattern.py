"""``corewright pattern``."""

import re
from collections.abc import Mapping, Sequence
from typing import Any, Final, Literal

import click
import numpy as np
from attrs import evolve, fields, frozen

from emu.errors import declare, fail
from emu.files import read_image
from emu.files.layout import Checks, FileWord
from emu.image import MemoryImage
from emu.load import load_machine
from emu.spec import MachineSpec, StoreSpec
from emu.storedword import StoredFormat
from emu.where import Place, Source
from emu.words import BASES, NUMBERINGS, Base, Numbering, WordFormat, mask
from faults.cli.exits import Exit
from faults.cli.filelayout import FileLayout, layout_options
from faults.cli.options import color_option, json_option, print_json, quiet_option, use_colour
from faults.cli.parameters import machine_option, store_option
from faults.cli.reading import (
    is_source,
    read_assembly,
    read_bytes,
    read_source,
    shown,
    the_store,
)
from faults.cli.schemas import declare_schema
from faults.cli.writer import Writer, notice
from faults.counts import counted
from faults.pattern import Evidence, Finding, Parity, PatternReport, address_evidence, analyse, dump_evidence

PARITIES: Final[tuple[Literal["odd", "even"], ...]] = ("odd", "even")
BAD_ADDRESS: Final = declare(
    "address-list",
    "A list of failing addresses holds addresses in the stated base, separated by blanks, commas or lines.",
    "Mend the address; a comment begins with # or ;.",
)
NOTHING_SHARED: Final = declare(
    "pattern-nothing-shared",
    "What was expected and what was observed have at least one address in common.",
    "Check the first address of each file, and that both are dumps of the same store.",
)
NO_READING: Final = declare(
    "pattern-evidence",
    "A difference can be analysed where addresses appear once and at least one digit could be read.",
    "Check that the right files were named, and the word size.",
)
SCHEMA = declare_schema(
    "pattern/1",
    "`corewright pattern EXPECTED OBSERVED --json`: the structure of a difference.",
    {
        "numbering": ["text: words and bit numbers in a sentence"],
        "tested": "int: addresses looked at",
        "failing": "int: of them wrong",
        "findings": [
            {
                "kind": "text: law, cube, cover, block, runs, product, address-bits, bit, tally, …",
                "sentence": "text: the statement; bits as the machine numbers them",
                "failing": "int: failing words it speaks of",
                "exact": "bool: whether it has no exception",
                "data": "any: its fields; bit masks and addresses are integers",
            }
        ],
        "limits": ["text: what this evidence cannot tell"],
        "only_expected": "int: addresses that only EXPECTED has; left out",
        "only_observed": "int: addresses that only OBSERVED has; left out",
    },
)


@frozen
class Frame:
    """How words are to be read: size, base, numbering, and the store if a machine was named."""

    word: FileWord
    numbering: Numbering
    machine: MachineSpec | None = None
    store: StoreSpec | None = None


@click.command(epilog="Example: corewright pattern healthy.oct read.oct --word 16 --base 8")
@click.argument("expected", required=False)
@click.argument("observed", required=False)
@click.option("--failing", metavar="PATH", help="A list of failing addresses, instead of two dumps.")
@click.option("--tested", metavar="FIRST-LAST", help="With --failing: the addresses that were tried.")
@click.option("--again", metavar="PATH", help="A second reading of the same addresses.")
@click.option("--word", "bits", type=click.IntRange(4, 64), help="Data bits of a word.")
@click.option("--base", type=click.Choice([str(b) for b in BASES]), help="Base of digits (8 if not said).")
@click.option(
    "--numbering", type=click.Choice(NUMBERINGS), help="How drawings number data bits (lsb0 if not said)."
)
@click.option("--parity", type=click.Choice(PARITIES), help="Words have a parity bit above their data.")
@machine_option
@store_option
@layout_options
@json_option
@quiet_option
@color_option
def command(**options: Any) -> int:
    """Find the structure of a difference, without any machine.

    EXPECTED and OBSERVED are dumps in any format that Corewright reads (one of them may be -). Word size,
    base and the numbering of data bits are those of the files or of the options; --machine takes them from
    a machine, and EXPECTED may then be a program. Address bits are numbered by weight: bit n has the
    weight 2**n.

    Exit code: 0 if nothing differs, 1 if something does.
    """
    frame = _frame(options)
    left_out = (0, 0)
    if options["failing"] is not None:
        if options["expected"] is not None:
            raise click.UsageError("--failing takes the place of EXPECTED and OBSERVED")
        evidence = _from_list(frame, options["failing"], options["tested"])
    else:
        if options["observed"] is None:
            raise click.UsageError("EXPECTED and OBSERVED are needed, or --failing")
        evidence, left_out = _from_dumps(frame, options)
    report = analyse(evidence)
    if any(left_out):
        more, less = counted(left_out[0], "address"), f"{left_out[1]:,}"
        text = f"left out: {more} only in EXPECTED and {less} only in OBSERVED"
        notice(text, quiet=options["quiet"])
    if options["as_json"]:
        print_json(SCHEMA.name, report_json(report, left_out))
    else:
        _write(report, Writer(use_colour(options["color"])))
    return Exit.DONE if report.clean else Exit.NEGATIVE


def _frame(options: Mapping[str, Any]) -> Frame:
    """Return the frame that the options state; ``click.UsageError`` where they contradict each other."""
    layout: FileLayout = options["layout"]
    if options["machine"] is None:
        frame = Frame(_own_word(layout, options), "lsb0")
    else:
        machine = load_machine(options["machine"])
        store = the_store(machine, options["store"])
        frame = Frame(layout.word_of(machine, store), machine.word.numbering, machine, store)
    if options["base"] is not None:
        frame = evolve(frame, word=evolve(frame.word, base=_base(options["base"])))
    return evolve(frame, numbering=options["numbering"] or frame.numbering)


def _own_word(layout: FileLayout, options: Mapping[str, Any]) -> FileWord:
    if options["bits"] is None and options["failing"] is None and (options["base"] or options["parity"]):
        raise click.UsageError("--base and --parity need --word, the data bits of a word")
    parity = next((kind for kind in PARITIES if kind == options["parity"]), None)
    checks: Checks = "stored" if parity else layout.checks
    base = _base(options["base"] or "8")
    return evolve(layout, checks=checks).word(options["bits"] or 64, parity or "none", base)


def _base(text: str) -> Base:
    return next(base for base in BASES if str(base) == text)


def _from_dumps(frame: Frame, options: Mapping[str, Any]) -> tuple[Evidence, tuple[int, int]]:
    form = options["layout"].form
    stated = options["bits"] is not None or frame.machine is not None
    expected, word = _expected(frame, options["expected"], form, stated=stated)
    observed, _ = _dump(word, options["observed"], form, stated=True)
    again = None if options["again"] is None else _dump(word, options["again"], form, stated=True)[0]
    shared = [a for a in observed.cells if a in expected.cells]
    if not shared:
        place = Place(shown(options["observed"]))
        fail(NOTHING_SHARED, "both dumps have an address in common, got none", place)
    left_out = (len(expected.cells) - len(shared), len(observed.cells) - len(shared))
    return _evidence(frame, word, [expected, observed, again], shared, shown(options["observed"])), left_out


def _evidence(
    frame: Frame, word: FileWord, images: Sequence[MemoryImage | None], shared: list[int], file: str
) -> Evidence:
    """Return the evidence of images (expected, observed, read again or None) at the addresses shared.

    Check bits that no file holds were computed from the data: they are left out, for nobody read them.
    """
    bits = word.bits
    values, known = zip(*(_columns(image, shared, bits) for image in images), strict=True)
    parity = next(
        (Parity(kind) for kind in PARITIES if kind == word.protection and bits > word.data_bits), None
    )
    try:
        evidence = dump_evidence(
            np.array(shared, dtype=np.int64),
            values[0],
            values[1],
            bits=bits,
            known=known[0] & known[1],
            again=values[2],
            again_known=known[2],
            parity=parity,
            base=word.base,
            numbering=frame.numbering,
            address_bits=_address_bits(frame),
        )
    except ValueError as error:
        fail(NO_READING, str(error), Place(file))
    evidence.word = StoredFormat(bits, "twos", word.base, frame.numbering, data_bits=word.data_bits)
    return evidence


def _columns(image: MemoryImage | None, addresses: list[int], bits: int) -> tuple[Any, Any]:
    """Return ``(values, known)`` of an image at addresses, uint64, cut to ``bits``; (None, None) for none."""
    if image is None:
        return None, None
    cells = np.array([image.cells.get(a, (0, 0)) for a in addresses], dtype=np.uint64).reshape(-1, 2)
    cells &= np.uint64(mask(bits))
    return cells[:, 0], cells[:, 1]


def _address_bits(frame: Frame) -> int | None:
    return None if frame.store is None else max((frame.store.words - 1).bit_length(), 1)


def _expected(frame: Frame, path: str, form: str | None, *, stated: bool) -> tuple[MemoryImage, FileWord]:
    """Return what should be there: a dump, or the words that a program puts into the store."""
    if frame.machine is None or frame.store is None or not is_source(frame.machine, path):
        return _dump(frame.word, path, form, stated=stated)
    store = frame.store
    data = read_assembly(frame.machine, path).image.segments.get(store.name, MemoryImage(store.data_bits))
    word = evolve(frame.word, checks="absent")
    cells = {a: word.to_stored(value, known) for a, value, known in data.words()}
    return MemoryImage(word.stored_bits, cells), frame.word


def _dump(word: FileWord, path: str, form: str | None, *, stated: bool) -> tuple[MemoryImage, FileWord]:
    """Return a dump and how its words lie; without a statement a listing must bring its own."""
    result = read_image(shown(path), read_bytes(path), word if stated else None, form)
    return result.image, result.word


def _from_list(frame: Frame, path: str, tested: str | None) -> Evidence:
    source = read_source(path)
    form = WordFormat(62, base=frame.word.base)
    failing = [_address(form, token, place, source) for token, place in _tokens(source)]
    try:
        return address_evidence(
            failing,
            tested=None if tested is None else _span(form, tested),
            base=frame.word.base,
            address_bits=_address_bits(frame),
        )
    except ValueError as error:
        fail(NO_READING, str(error), Place(source.file))


def _tokens(source: Source) -> list[tuple[str, Place]]:
    found = []
    for number, line in enumerate(source.text.split("\n"), 1):
        for token in re.finditer(r"[^\s,]+", re.split(r"[#;]", line, maxsplit=1)[0]):
            place = Place(source.file, number, token.start() + 1, len(token.group()))
            found.append((token.group(), place))
    return found


def _address(form: WordFormat, token: str, place: Place, source: Source) -> int:
    try:
        return form.parse(token)
    except ValueError as error:
        fail(BAD_ADDRESS, str(error), place, source_line=source.excerpt(place))


def _span(form: WordFormat, text: str) -> range:
    first, dash, last = text.partition("-")
    try:
        span = range(form.parse(first), form.parse(last) + 1)
    except ValueError as error:
        raise click.UsageError(f"--tested is FIRST-LAST in the stated base: {error}") from error
    if not dash or not 0 < len(span) <= 1 << 24:
        raise click.UsageError(f"--tested is FIRST-LAST, at most 2**24 addresses, got {text!r}")
    return span


def report_json(report: PatternReport, left_out: tuple[int, int] = (0, 0)) -> Mapping[str, object]:
    """Return what schema ``pattern/1`` holds."""
    return {
        "numbering": list(report.numbering),
        "tested": report.tested,
        "failing": report.failing,
        "findings": [
            {
                "kind": f.kind,
                "sentence": f.sentence,
                "failing": f.failing,
                "exact": f.exact,
                "data": _data(f),
            }
            for f in report.findings
        ],
        "limits": list(report.limits),
        "only_expected": left_out[0],
        "only_observed": left_out[1],
    }


def _data(finding: Finding) -> dict[str, object]:
    shown_already = {"kind", "sentence", "failing", "exact"}
    names = [a.name for a in fields(type(finding)) if a.name not in shown_already]
    return {name: _plain(getattr(finding, name)) for name in names if not name.startswith("_")}


def _plain(value: object) -> object:
    """Return a field of a finding as plain JSON values."""
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if isinstance(value, np.generic | np.ndarray):
        return value.tolist()
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, tuple | list | range):
        return [_plain(v) for v in value]
    kind: Any = type(value)
    names = [a.name for a in fields(kind) if not a.name.startswith("_")]
    return {"is": type(value).__name__, **{n: _plain(getattr(value, n)) for n in names}}


def _write(report: PatternReport, writer: Writer) -> None:
    for sentence in report.numbering:
        writer.paragraph(sentence)
    writer.line()
    writer.labelled("failing", f"{report.failing:,} of {report.tested:,} addresses")
    if report.findings:
        writer.heading("What they have in common")
    for finding in report.findings:
        writer.bullet(finding.sentence)
    if report.limits:
        writer.heading("What this cannot tell")
    for limit in report.limits:
        writer.bullet(limit)

"""Every error code of the assembler has a rule, a cure and, where one file is enough, an example that emits it."""

import pytest

from emu.assemble import assemble
from emu.errors import InputError, declared
from emu.load import load_machine
from emu.where import Source

CODES = {slug: code for slug, code in declared().items() if slug.startswith("asm-")}
# These need several files, or a machine with byte addresses or short absolute addresses; other tests emit them.
WITHOUT_EXAMPLE = {
    "asm-include-loop", "asm-too-big", "asm-odd-address", "asm-not-multiple", "asm-truncated-address",
    "asm-unreadable-form",
}  # fmt: skip


def test_only_those_are_without_example():
    assert {slug for slug, code in CODES.items() if not code.example} == WITHOUT_EXAMPLE


@pytest.mark.parametrize("slug", sorted(set(CODES) - WITHOUT_EXAMPLE))
def test_example_emits_its_own_code(slug):
    code = CODES[slug]
    assert code.rule.endswith(".")
    assert code.cure.endswith(".")
    assert code.example_kind == "program"
    machine = load_machine(code.example.split("\n")[0].removeprefix("; machine: "))
    try:
        found = assemble(Source("example.asm", code.example), machine, missing).warnings
    except InputError as error:
        found = error.problems
    assert slug in {problem.code.slug for problem in found}


def missing(name):
    raise FileNotFoundError(name)

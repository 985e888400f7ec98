"""The reference page: its examples run, and its table of classes is the code's."""

import doctest
import re
from pathlib import Path

import pytest

from emu.errors import InputError
from faults.march.classes import CLASSES
from faults.march.notation import parse

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "march-coverage.md"


def test_examples_run():
    result = doctest.testfile(str(PAGE), module_relative=False, encoding="utf-8")
    assert result.attempted >= 10
    assert result.failed == 0


def test_every_class_is_explained_with_its_count():
    rows = re.findall(r"^\| ([^|]+) \| [^|]+ \| ([^|]+) \|$", PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    told = {}
    for names, formulas in rows:
        kinds, counts = names.split(", "), formulas.removesuffix(" each").split(", ")
        told |= {kind: counts[min(i, len(counts) - 1)] for i, kind in enumerate(kinds)}
    for kind in CLASSES:
        assert told[kind.name] == kind.formula


def test_the_error_shown_is_the_error_given():
    with pytest.raises(InputError) as caught:
        parse("~(w0); ^(r1,w1)")
    assert str(caught.value) in PAGE.read_text(encoding="utf-8")

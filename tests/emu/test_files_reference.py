"""docs/reference/files.md holds: its examples are read, and its tables are those of the code."""

import re
from pathlib import Path

import pytest

from emu.errors import declared
from emu.files import ENDINGS, read_image, write_image
from emu.files.layout import FORMATS, FileWord
from emu.spec import MAX_STORE_WORDS

PAGE = (Path(__file__).parents[2] / "docs" / "reference" / "files.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"^```([a-z-]+)\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)


@pytest.mark.parametrize(("form", "text"), EXAMPLES, ids=[form for form, _ in EXAMPLES])
def test_examples_are_read_and_recognised(form, text):
    asked = read_image("example", text.encode(), FileWord(12), form)
    assert read_image("example", text.encode(), FileWord(12)).format == form
    assert asked.image.cells[0] == (0o7402, 0o7777)
    assert {p.code.slug for p in asked.warnings} <= {"words-missing"}


def test_there_is_an_example_of_every_text_format():
    assert {form for form, _ in EXAMPLES} == set(FORMATS) - {"raw"}


@pytest.mark.parametrize(("form", "text"), [e for e in EXAMPLES if e[0].endswith(("hex", "record"))])
def test_record_examples_are_what_is_written(form, text):
    image = read_image("example", text.encode(), FileWord(12), form).image
    written = write_image(image, form, FileWord(12)).decode()
    assert written == "".join(line + "\n" for line in text.splitlines() if not line.startswith("S0"))


def test_the_listing_example_repeats_and_leaves_out():
    image = read_image("x", dict(EXAMPLES)["listing"].encode()).image
    assert image.ranges() == ((0, 5), (8, 31))
    assert image.cells[2] == (0o1077, 0o7077)


def test_names_and_numbers_are_those_of_the_code():
    for ending in ENDINGS:
        assert f"`{ending}`" in PAGE
    assert f"{MAX_STORE_WORDS:,} words" in PAGE
    warnings = PAGE.split("## Warnings")[1].split("##")[0]
    for slug in re.findall(r"^\| `([a-z-]+)`", warnings, re.MULTILINE):
        assert slug in declared()

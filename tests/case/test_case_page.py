"""The reference page is as the code says, and its example is a case."""

import re
from pathlib import Path

from emu.where import Source
from faults.case.load import parse_case
from faults.case.page import MARK, reference_tables

PAGE = (Path(__file__).parents[2] / "docs" / "reference" / "case-file.md").read_text(encoding="utf-8")


def test_the_tables_are_fresh():
    assert PAGE.partition(MARK)[2] == reference_tables(), "write the lower part anew"


def test_the_example_is_a_case():
    example = re.search(r"```toml\n(format.*?)```", PAGE, re.DOTALL)[1]
    assert parse_case(Source("c.toml", example)).epochs == (0, 0, 0)

"""The page of the self-tests is fresh, and every self-test, whole, finds nothing on a healthy machine."""

from pathlib import Path

import pytest

from emu.shipped import machine_names
from faults.cli.selftests import duration, healthy_run, self_tests, self_tests_page

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "self-tests.md"


@pytest.mark.slow
def test_the_page_is_what_the_self_tests_say_and_take() -> None:
    assert PAGE.read_text(encoding="utf-8") == self_tests_page()


@pytest.mark.slow
@pytest.mark.parametrize("machine", machine_names())
def test_every_whole_self_test_passes_on_a_healthy_machine(machine: str) -> None:
    """The whole test, on the compiled engine; a shortened one runs on the walking engine in the quick tier."""
    silent = {
        "selftest-registers": "OK\n" if machine == "sandpiper" else "",
        "selftest-rope-from-core": "END\n",
    }
    for test in self_tests(machine):
        result = healthy_run(test)
        printed = "".join(chr(word) for _, port, word in result.outputs if port == 1)
        assert (result.stop.kind, printed) == ("halt", silent.get(test.name, "GOOD\n")), test.name
        assert (result.alarms, result.restarts) == ((), 0), test.name


def test_durations_have_three_digits() -> None:
    assert duration(8_604_321_000) == "8.6 s"
    assert duration(13_880_000) == "13.9 ms"
    assert duration(166_000) == "0.166 ms"


def test_every_self_test_has_the_headings() -> None:
    for machine in machine_names():
        for test in self_tests(machine):
            assert list(test.headings) == ["Finds", "Destroys", "Reports"], test.name
            assert test.about, test.name

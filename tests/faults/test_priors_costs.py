"""The two tables of guesses that a user may change."""

import pytest

from emu.errors import InputError
from faults.costs import SHIPPED as COSTS
from faults.costs import STEP_KINDS, load_costs
from faults.priors import SHIPPED as PRIORS
from faults.priors import load_priors


def test_shipped_priors():
    priors = load_priors()
    assert priors.weight("contact") > priors.weight("driver") > priors.weight("wire") > priors.weight("core")
    assert priors.weight("no such class") == 1.0
    assert priors.weight("contact", "intermittent", 2.0) == pytest.approx(10.0)
    assert 0 < priors.nothing < 0.1


def test_shipped_costs():
    costs = load_costs()
    assert {s.kind for s in costs.steps} == set(STEP_KINDS)
    assert not costs.of("ring-out").powered
    assert costs.of("probe").powered
    assert costs.of("probe").risk == 3
    assert all(step.caution for step in costs.steps)
    assert costs.possible("probe", ())
    assert costs.possible("probe", ("scope", "meter"))
    assert not costs.possible("probe", ("meter",))
    assert costs.possible("look", ("meter",))


def changed(tmp_path, shipped, *swaps):
    text = shipped.read_text(encoding="utf-8")
    for old, new in swaps:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_changed_copy_is_read(tmp_path):
    assert load_priors(changed(tmp_path, PRIORS, ("contact = 10.0", "contact = 99"))).weight("contact") == 99
    assert load_costs(changed(tmp_path, COSTS, ("minutes = 15", "minutes = 2.5"))).of("dump").minutes == 2.5


@pytest.mark.parametrize(
    ("load", "shipped", "swap", "match"),
    [
        (load_priors, PRIORS, ("contact = 10.0", "contact = -1"), "'contact' must be from 0.0"),
        (load_priors, PRIORS, ("healthy = 0.01", "health = 0.01"), "did you mean 'healthy'"),
        (load_priors, PRIORS, ("nothing = 0.02", "nothing = 0"), "'nothing' must be from"),
        (load_costs, COSTS, ("minutes = 15", "minutes = 0"), "'minutes' must be from"),
        (load_costs, COSTS, ('kind = "dump"', 'kind = "look"'), "no two"),
        (
            load_costs,
            COSTS,
            ('[[step]]\nkind = "look"\nminutes = 3\npowered = false\nrisk = 0\n', "[[step]]\n"),
            "lacks the key",
        ),
    ],
)
def test_slips(tmp_path, load, shipped, swap, match):
    with pytest.raises(InputError, match=match):
        load(changed(tmp_path, shipped, swap))


def test_a_missing_sort_of_step(tmp_path):
    text = COSTS.read_text(encoding="utf-8")
    cut = text[: text.index('[[step]]\nkind = "swap"')]
    path = tmp_path / "mine.toml"
    path.write_text(cut, encoding="utf-8")
    with pytest.raises(InputError, match="none has kind = 'swap'"):
        load_costs(path)

"""Accounts: two runs compared, what was noted on the way, why nothing shows, trials; and the catalogue."""

import numpy as np
import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st

from emu.assemble import assemble
from emu.engine.contract import RunRequest
from emu.engine.walker import Walker
from emu.image import MemoryImage, ProgramImage
from emu.load import load_machine
from emu.memory import identity_plan, shapes_of
from emu.where import Source
from faults.account import predict
from faults.boards import load_board
from faults.cli.reading import read_inputs, read_program
from faults.compare import compare
from faults.describe import describe
from faults.dump import read_out, scattered
from faults.explain import tell
from faults.kinds import all_kinds
from faults.lower import plan_of
from faults.notation import parse_fault
from faults.rates import clopper_pearson
from faults.symptoms import canonical, symptoms_of
from faults.universe import universe_of
from faults.watch import reach_of, watch

FULMAR = load_machine("fulmar")
BOARD = load_board(FULMAR)
GATES = read_program(FULMAR, "gates")
INPUTS = read_inputs(FULMAR, "gates", None, ())
STEPS = 1_500
STRUCTURE = universe_of(BOARD, cells=False).faults


def request_of(text, board=BOARD, program=GATES, inputs=INPUTS, **more):
    fault = plan_of(board, parse_fault(text, board))
    return RunRequest(board.machine, program, fault, inputs, max_steps=STEPS, **more)


@pytest.fixture(scope="module")
def healthy():
    return Walker().run(RunRequest(FULMAR, GATES, None, INPUTS, max_steps=STEPS))


# --- what is seen


def test_a_stuck_address_bit_shows_no_parity_alarm_but_wrong_print():
    # common practice, no source: whole words are valid, so their own parity is silent
    account = predict(request_of("rope/address/10:stuck-0"))
    assert account.differs
    assert account.comparison.seen.alarm("parity") is None
    rows = {r.name: r for r in account.comparison.rows}
    assert rows["Printer"].differs
    assert account.watched.first[0].noticed == "ok"
    picture = account.pictures[0]
    assert picture.store == "rope"
    assert picture.wrong == 12_288
    assert {r.source for r in picture.memory.runs if r.kind == "copy"} == {n * 2048 for n in range(12)}
    assert any("Groups of 1,024 words" in s for s in account.sentences())


def test_a_spurious_bit_shows_as_parity_alarms_and_restarts():
    # common practice, no source
    account = predict(request_of("rope/sense/3:stuck-1"))
    seen = account.comparison.seen
    assert seen.alarm("parity") is not None
    assert seen.restarts == -1
    assert account.comparison.rows[0].seen.startswith("restarts again and again, every ")
    first = account.watched.first[0]
    assert (first.noticed, first.expected ^ first.got) == ("error", 1 << 13)  # bit 3 from the left of 16
    assert any("alarm parity is raised again and again" in s for s in account.sentences())


def test_comparing_a_run_with_itself_says_nothing(healthy):
    found = compare(FULMAR, healthy, healthy)
    assert not found.differs
    assert found.sentences == ()
    assert not any(row.differs for row in found.rows)


@given(
    at=st.integers(0, 100), word=st.integers(0, 127), cut=st.integers(0, 100), port=st.sampled_from([1, 2, 3])
)
@settings(max_examples=60)
def test_whenever_outputs_differ_a_sentence_says_where(healthy, at, word, cut, port):
    outputs = list(healthy.outputs[:cut])
    if at < len(outputs):
        outputs[at] = (outputs[at][0], port, word)
    changed = evolve(healthy, outputs=tuple(outputs))
    found = compare(FULMAR, changed, healthy)
    by_port = [[[w for _, n, w in run.outputs if n == p] for p in (1, 2, 3)] for run in (changed, healthy)]
    assert len(found.sentences) == sum(a != b for a, b in zip(*by_port, strict=True))


# --- what is noted on the way


def test_the_watched_run_is_the_run(healthy):
    for text in ("core/address/0:stuck-0", "bus/address/5:stuck-1", "rope/unit:missed@0.01%"):
        request = request_of(text)
        noted = watch(request, most_steps=STEPS)
        result = Walker().run(request)
        assert noted.steps == result.steps
        assert noted.accesses == result.fetches + result.reads + result.writes
    quiet = watch(evolve(request_of("core/x/13:open"), plan=None), most_steps=STEPS)
    assert (quiet.wrong_reads, quiet.touched, quiet.latent) == (0, 0, (0, 0))
    assert quiet.steps == healthy.steps


def test_the_first_wrong_word_is_the_first_event_that_differs():
    request = request_of("rope/address/10:stuck-0", trace=True)
    seen, right = Walker().run(request).events, Walker().run(evolve(request, plan=None)).events
    first = next((a, b) for a, b in zip(seen, right, strict=False) if a.word != b.word)
    noted = watch(request, most_steps=STEPS, enough=1).first[0]
    assert (noted.access, noted.data) == (first[0].access, first[0].word)
    assert (noted.store, noted.address) == (first[1].store, first[1].address)
    assert noted.expected & 0xFFFF == first[1].word


def test_reach_holds_every_address_where_a_dump_differs():
    for text in (
        "core/x/13:open",
        "core/sense/3+4:shorted-or",
        "core/cell/0o17/3:stuck-1",
        "core/y/2:always-on",
    ):
        plan = plan_of(BOARD, parse_fault(text, BOARD))
        read = read_out(FULMAR, 0, plan, scattered(FULMAR, 0))
        assert reach_of(plan)[0][read.first != read.contents].all()


# --- why nothing shows


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("core/x/13:open", "never-accessed"),
        ("rope/sense/3:stuck-1@when:warm", "condition"),
        ("rope/sense/3:stuck-1@accesses:9000000..9000001", "away"),
        ("core/cell/0o0/16:stuck-1@accesses:0..1", "away"),
    ],
)
def test_silence_has_its_reason(text, why):
    account = predict(request_of(text), runs=2)
    assert not account.differs
    assert account.reasons[0].why == why


def test_harmless_and_short():
    request = RunRequest(FULMAR, GATES, identity_plan(shapes_of(FULMAR.stores)), INPUTS, max_steps=STEPS)
    assert [r.why for r in predict(request).reasons] == ["harmless"]
    cut = predict(request_of("rope/sense/3:stuck-1@accesses:9000000..9000001"), runs=1, watched_steps=10)
    assert [r.why for r in cut.reasons] == ["away", "short"]


@pytest.mark.parametrize("seed", [1, 2, *(pytest.param(n, marks=pytest.mark.slow) for n in range(3, 40))])
def test_there_are_reasons_exactly_when_nothing_is_seen(seed):
    fault = STRUCTURE[int(np.random.default_rng(seed).integers(len(STRUCTURE)))]
    plan = plan_of(BOARD, fault)
    request = RunRequest(FULMAR, GATES, plan, INPUTS, max_steps=1_000)
    account = predict(request)
    right = Walker().run(evolve(request, plan=None))
    same = canonical(symptoms_of(FULMAR, Walker().run(request))) == canonical(symptoms_of(FULMAR, right))
    assert account.differs != same
    assert bool(account.reasons) == same


# --- faults that come and go


def test_trials_count_seeds_and_give_the_exact_interval():
    request = request_of("rope/sense/3:stuck-1@0.02%")
    account = predict(request, runs=6)
    right = canonical(account.comparison.healthy)
    showing = 0
    for seed in range(6):
        result = Walker().run(evolve(request, seed=seed))
        showing += canonical(symptoms_of(FULMAR, result)) != right
    assert account.trials is not None
    assert account.trials.showing == showing
    assert showing > 0
    low = clopper_pearson(showing, 6).low
    assert f"{100 * low:.2g}" in account.trials.sentences()[0]


@pytest.mark.parametrize("when", ["accesses:0..10", "after:0o6000"])
def test_what_comes_and_goes_without_chance_has_no_rate(when):
    """All runs are alike: twenty of them tell no more than one, and an interval would be a lie."""
    account = predict(request_of(f"core/x/0:open@{when}"))
    assert account.trials is None
    assert not any("rate" in sentence for sentence in account.sentences())


def test_the_same_seed_gives_the_same_account():
    one, two = (predict(request_of("core/sense/3:weak-ones@20%", seed=4), runs=2) for _ in range(2))
    assert one.sentences() == two.sentences()


# --- the catalogue: every kind's example


EXAMPLES = sorted(all_kinds())
TINY = assemble(
    Source(
        "tiny.asm",
        """
        .at     6000
again:  set     17
        store   13
        store   17
        load    13
        acc-to-bank
        load    4017
        store   1013
        load    1013
        jump    again
""",
    ),
    FULMAR,
).image


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_example_of_every_kind_has_an_account_and_a_story(name):
    kind = all_kinds()[name]
    machine, _, text = kind.example.rpartition(" ")
    board = BOARD if not machine else load_board(load_machine(machine))
    program = TINY if not machine else idle(board.machine)
    fault = parse_fault(text, board)
    request = RunRequest(board.machine, program, plan_of(board, fault), max_steps=300)
    told = describe(board, fault)
    account = predict(request, fault=text, told=told.sentences, runs=2)
    assert account.differs or account.reasons
    for sentence in account.sentences():
        assert sentence.endswith((".", ")", '"'))
        assert "  " not in sentence
    assert kind.text(fault.parts[0].params) in told.sentences[0]
    assert told.cautions == (kind.entry.caution,)
    result = Walker().run(request)
    story = tell(request, result, Walker().run(evolve(request, plan=None)))
    assert story.beats


def idle(machine):
    """A program of a machine without shipped ones: whatever its first words do."""
    store = next(w.store for w in machine.windows if w.first <= machine.start <= w.last)
    return ProgramImage({store: MemoryImage.of_words(machine.store(store).data_bits, [0])})


def test_lines_exchanged_for_reading_and_writing_alike_are_masked_and_not_latent():
    account = predict(request_of("core/address/3+4:swapped"))
    assert [r.why for r in account.reasons] == ["masked"]
    assert account.watched.latent == (0, 0)
    assert account.watched.touched > 0

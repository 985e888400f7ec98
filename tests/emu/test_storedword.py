"""Names of the bits of a stored word: data bits as the machine numbers them, check bits apart."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu.load import load_machine
from emu.storedword import StoredFormat
from emu.words import NUMBERINGS, WordFormat
from faults.boards.bits import stored_bit_names

FORMATS = st.builds(
    lambda data, checks, numbering: StoredFormat(data + checks, "twos", 8, numbering, data_bits=data),
    st.integers(4, 60), st.integers(0, 9), st.sampled_from(NUMBERINGS),
)  # fmt: skip


@given(FORMATS)
def test_data_bits_keep_the_machines_numbers_and_every_name_leads_back(form):
    data = WordFormat(form.data_bits, "twos", 8, form.numbering)
    names = [form.label(n) for n in range(form.bits)]
    assert names[: form.data_bits] == [data.label(n) for n in range(form.data_bits)]
    assert len(set(names)) == form.bits
    assert [form.bit_of(name) for name in names] == list(range(form.bits))
    with pytest.raises(ValueError, match="weights"):
        form.label(form.bits)


@pytest.mark.parametrize(
    ("data", "bits", "end"),
    [
        (16, 17, "The parity bit lies above the data."),
        (24, 30, "The bits check5 to check0 lie above the data."),
        (12, 12, "bit 12 the least significant."),
    ],
)
def test_the_sentence_names_the_check_bits(data, bits, end):
    form = StoredFormat(bits, "twos", 8, "msb1", data_bits=data)
    assert form.numbering_sentence().endswith(end)
    assert "bit 1 is the most significant" in form.numbering_sentence()
    assert "complement" not in form.numbering_sentence()


def test_names_are_those_of_the_board():
    fulmar, sandpiper = load_machine("fulmar"), load_machine("sandpiper")
    for machine, store in ((fulmar, 0), (sandpiper, 0)):
        spec, word = machine.stores[store], machine.word
        form = StoredFormat(spec.bits, "twos", word.base, word.numbering, data_bits=spec.data_bits)
        assert tuple(form.label(n) for n in range(form.bits)) == stored_bit_names(machine, store)


def test_words_are_written_whole():
    assert StoredFormat(17, "ones", 8, "msb1", data_bits=16).text(0o200000) == "200000"

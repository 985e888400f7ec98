"""Malformed image files, each pinned to its whole message: what broke, where, and what was lost.

Cases marked ``reads`` lose nothing and are read with a warning.
"""

import pytest

from emu.errors import InputError
from emu.files import read_image
from emu.files.layout import FileWord

HEAD = "words 16 base octal\n"
END = ":00000001FF\n"

# name, file, format (None: guessed), words stated, content, whether it reads, problems as `headline | hint`
CASES = [
    ("statement unknown key", "dump", None, None, "word 16\n000: 000001\n", False,
     [
      "dump: error: the word size is stated, got neither a statement nor a machine [word-size-not-stated] | put `words 16 base octal` at the top, with your own numbers",
     ]),
    ("statement misspelt key", "dump", None, None, "words 16 bass octal\n000: 000001\n", False,
     [
      "dump:1:10: error: a statement has words, base, parity and checks, each once, got 'bass' [bad-statement] | did you mean 'base'?",
     ]),
    ("statement twice", "dump", None, None, "words 16 words 12\n000: 000001\n", False,
     [
      "dump:1:10: error: a statement has words, base, parity and checks, each once, got 'words' [bad-statement]",
     ]),
    ("statement value missing", "dump", None, None, "words 16 base\n000: 000001\n", False,
     [
      "dump:1:10: error: base is followed by its value, got the end of the line [bad-statement]",
     ]),
    ("statement size", "dump", None, None, "words 65\n", False,
     [
      "dump:1:7: error: a word has 4 to 64 data bits, got '65' [bad-statement]",
     ]),
    ("statement several wrong", "dump", None, None, "words many base 8 parity strange\n", False,
     [
      "dump:1:7: error: a word has 4 to 64 data bits, got 'many' [bad-statement]",
      "dump:1:17: error: base is binary, octal, decimal or hexadecimal, got '8' [bad-statement]",
      "dump:1:26: error: parity is none, odd, even or sec-ded, got 'strange' [bad-statement]",
     ]),
    ("statement other size", "dump", None, FileWord(16), "words 12 base octal\n0: 0001\n", False,
     [
      "dump:1:1: error: the file agrees with what was asked for, got words 12 where 16 was asked [statement-differs]",
     ]),
    ("statement other parity", "dump", None, FileWord(16, "odd"), "words 16 base octal parity even\n0: 000001\n", False,
     [
      "dump:1:1: error: the file agrees with what was asked for, got parity even where odd was asked [statement-differs]",
     ]),
    ("no statement", "dump", None, None, "000: 000001\n", False,
     [
      "dump: error: the word size is stated, got neither a statement nor a machine [word-size-not-stated] | put `words 16 base octal` at the top, with your own numbers",
     ]),
    ("digit 8 in octal", "dump", None, None, HEAD + "000: 000001 000081\n010: 000001\n", False,
     [
      "dump:2:13: error: octal digits are 0 to 7, got '8' in '000081'; word at 0o1 lost [bad-digits]",
     ]),
    ("letter O", "dump", None, None, HEAD + "000: 00000O 000001\n", False,
     [
      "dump:2:6: error: octal digits are 0 to 7, got 'O' in '00000O'; word at 0o0 lost [bad-digits]",
     ]),
    ("hex prefix in a word", "dump", None, None, "words 16 base hexadecimal\n0000: 0x17 0001\n", False,
     [
      "dump:2:7: error: hexadecimal digits are 0 to 9 and a to f, got 'x' in '0x17'; word at 0x0 lost [bad-digits]",
     ]),
    ("decimal unknown", "dump", None, None, "words 16 base decimal\n0: 1234?\n", False,
     [
      "dump:2:4: error: decimal digits are 0 to 9, got '?' in '1234?'; word at 0 lost [bad-digits]",
     ]),
    ("digit lost", "dump", None, None, HEAD + "000: 000001 00017 000002\n", False,
     [
      "dump:2:13: error: a word of 16 bits has 6 octal digits, got 5 in '00017'; word at 0o1 lost [wrong-digit-count]",
     ]),
    ("digit doubled", "dump", None, None, HEAD + "000: 0000011\n", False,
     [
      "dump:2:6: error: a word of 16 bits has 6 octal digits, got 7 in '0000011'; word at 0o0 lost [wrong-digit-count]",
     ]),
    ("word too wide", "dump", None, None, HEAD + "000: 200000\n", False,
     [
      "dump:2:6: error: a word of 16 bits holds 0 to 0o177777, got 200000; word at 0o0 lost [bad-digits]",
     ]),
    ("line cut in the middle", "dump", None, None, HEAD + "000: 000001 000002\n002: 000003 00", False,
     [
      "dump:3:13: error: a word of 16 bits has 6 octal digits, got 2 in '00'; word at 0o3 lost [wrong-digit-count]",
      "dump:3:14: warning: the last line has no line end: the file may be cut short [end-cut]",
     ]),
    ("no line end", "dump", None, None, HEAD + "000: 000001 000002", True,
     [
      "dump:2:18: warning: the last line has no line end: the file may be cut short [end-cut]",
     ]),
    ("address digit", "dump", None, None, HEAD + "00g: 000001\n", False,
     [
      "dump:2:1: error: in the address: octal digits are 0 to 7, got 'g' in '00g'; line lost [bad-digits]",
     ]),
    ("address unknown", "dump", None, None, HEAD + "0?0: 000001\n", False,
     [
      "dump:2:1: error: in the address: every digit is known, got '0?0'; line lost [bad-digits]",
     ]),
    ("address empty", "dump", None, None, HEAD + ": 000001\n", False,
     [
      "dump:2:1: error: in the address: a word is written in octal digits, got ''; line lost [bad-digits]",
     ]),
    ("address twice, other word", "dump", None, None, HEAD + "000: 000001 000002\n001: 000003\n", False,
     [
      "dump:3:6: error: an address has one word, got 000003 for 0o1 which had 000002 [word-given-twice]",
     ]),
    ("address twice, same word", "dump", None, None, HEAD + "000: 000001 000002\n001: 000002 000003\n", True,
     [
      "dump:3:6: warning: address 0o1 is given twice with the same word [word-repeated]",
     ]),
    ("lines lost", "dump", None, None, HEAD + "000: 000001 000002\n004: 000003 000004\n010: 000005\n", True,
     [
      "dump:3:6: warning: 4 words missing between the first and the last: 0o2 to 0o3, 0o6 to 0o7 [words-missing]",
     ]),
    ("beyond the store", "dump", None, FileWord(16, words=4096), HEAD + "000: 000001\n7777: 000002 000003\n", False,
     [
      "dump:3:14: error: the store ends at 0o7777, got 0o10000: lost [address-beyond]",
     ]),
    ("star first", "dump", None, None, HEAD + "*\n000: 000001\n", False,
     [
      "dump:2:1: error: a * repeats the line before it, got none [bad-repeat]",
     ]),
    ("star last", "dump", None, None, HEAD + "000: 000001\n*\n", False,
     [
      "dump:3:1: error: a * is followed by an address, got the end of the file [bad-repeat]",
     ]),
    ("star twice", "dump", None, None, HEAD + "000: 000001\n*\n*\n004: 000001\n", False,
     [
      "dump:4:1: error: one * repeats as often as is needed, got two [bad-repeat]",
     ]),
    ("star backwards", "dump", None, None, HEAD + "010: 000001\n*\n004: 000001\n", False,
     [
      "dump:3:1: error: a * fills whole lines of 1 word from 0o11 on, got an end at 0o4 [bad-repeat]",
     ]),
    ("star of broken lines", "dump", None, None, HEAD + "000: 000001 000002\n*\n005: 000001\n", False,
     [
      "dump:3:1: error: a * fills whole lines of 2 words from 0o2 on, got an end at 0o5 [bad-repeat]",
     ]),
    ("star without address", "dump", None, None, HEAD + "000: 000001\n*\n000002\n", False,
     [
      "dump:4:1: error: a line after * starts with an address, got none [bad-repeat]",
     ]),
    ("star endless", "dump", None, None, HEAD + "000: 000001\n*\n7777777777: 000002\n", False,
     [
      "dump:3:1: error: an image has at most 4194304 words, got 1073741823 [image-too-large]",
     ]),
    ("star beyond the store", "dump", None, FileWord(16, words=256), HEAD + "000: 000001\n*\n1000: 000002\n", False,
     [
      "dump:3:1: error: the store ends at 0o377, got 511 words up to 0o777: lost [address-beyond]",
      "dump:4:7: error: the store ends at 0o377, got 0o1000: lost [address-beyond]",
     ]),
    ("empty", "dump", None, None, "", False,
     [
      "dump: error: an image file holds at least one word, got none [image-empty]",
     ]),
    ("only comments", "dump", None, FileWord(16), "; dump of 3rd May\n; lost the rest\n", False,
     [
      "dump: error: an image file holds at least one word, got none [image-empty]",
     ]),
    ("statement late", "dump", None, FileWord(16), "000: 000001\nwords 16 base octal\n", False,
     [
      "dump:2:1: error: the statement stands before the first word, got it here [bad-statement]",
     ]),
    ("parity breaks", "dump", None, None, "words 16 base octal parity odd\n000: 000000 200000\n002: 000003\n", True,
     [
      "dump:2:6: warning: 2 of 3 words break odd parity, first at 0o0 [check-bits-wrong] | is the protection stated rightly?",
     ]),
    ("parity sense wrong", "dump", None, None, "words 4 base binary parity even\n0: 00000 10000 01000 11000 00100\n", True,
     [
      "dump:2:4: warning: 3 of 5 words break even parity, first at 0b1 [check-bits-wrong] | is the protection stated rightly?",
     ]),
    ("prose", "dump", None, FileWord(16), "Dear friends, please find attached\nwhat I saw\n", False,
     [
      "dump:1:1: error: a file is one of the known formats, got one that looks like none of them [format-unknown] | state the format",
     ]),
    ("second language", "dump", "listing", None, b"words 16 base octal\n000: 000001 ; \xe9t\xe9\n", False,
     [
      "dump:2:1: error: a listing is UTF-8 text, got the byte e9 [not-text] | read it as raw bytes",
     ]),
    ("hex sum one digit", "dump", None, FileWord(16), ":020000001234B8\n:02000200567930\n" + END, False,
     [
      "dump:2:1: error: the record's sum byte is 2D, got 30: bytes 0002 to 0003 lost [record-checksum]",
     ]),
    ("hex sum wrong", "dump", None, FileWord(16), ":02000000123456\n:02000200567830\n" + END, False,
     [
      "dump:1:1: error: the record's sum byte is B8, got 56: bytes 0000 to 0001 lost [record-checksum]",
      "dump:2:1: error: the record's sum byte is 2E, got 30: bytes 0002 to 0003 lost [record-checksum]",
     ]),
    ("hex cut", "dump", None, FileWord(16), ":0400000012\n" + END, False,
     [
      "dump:1:1: error: the record says 4 data bytes, got 0: bytes 0000 to 0003 lost [record-length]",
     ]),
    ("hex cut to nothing", "dump", None, FileWord(16), ":02\n" + END, False,
     [
      "dump:1:1: error: the record says 2 data bytes, got no whole record: record lost [record-length]",
     ]),
    ("hex odd digits", "dump", None, FileWord(16), ":020000001234B\n" + END, False,
     [
      "dump:1:14: error: a record has pairs of digits, got 13 digits: record lost [record-length]",
     ]),
    ("hex no colon", "dump", None, FileWord(16), ":020000001234B8\n02000200567830\n" + END, False,
     [
      "dump:2:1: error: a record starts with ':', got '0': line lost [not-a-record]",
     ]),
    ("hex letter", "dump", None, FileWord(16), ":0200000012G4B8\n" + END, False,
     [
      "dump:1:12: error: a record has hexadecimal digits, got 'G': record lost [not-a-record]",
     ]),
    ("hex no end", "dump", None, FileWord(16), ":020000001234B8\n", False,
     [
      "dump:1:1: error: the last record is :00000001FF, got none: what followed is lost [record-end]",
     ]),
    ("hex after end", "dump", None, FileWord(16), END + ":020000001234B8\n", False,
     [
      "dump:2:1: error: nothing follows the end record, got another line: lost [record-end]",
     ]),
    ("hex kind", "dump", None, FileWord(16), ":020000081234B0\n" + END, False,
     [
      "dump:1:1: error: record kinds are 00 to 05, got 08: record lost [record-kind]",
     ]),
    ("hex base size", "dump", None, FileWord(16), ":0100000400FB\n" + END, False,
     [
      "dump:1:1: error: a linear base record has 2 bytes, got 1: record lost [record-kind]",
     ]),
    ("hex odd bytes", "dump", None, FileWord(16), ":0300000012345661\n" + END, False,
     [
      "dump:1:1: error: a word of 16 bits takes 2 bytes, got 56 -- for 0o1: 1 byte lost [odd-bytes]",
     ]),
    ("hex half a word", "dump", None, FileWord(16), ":020001001234B7\n" + END, False,
     [
      "dump:1:1: error: a word of 16 bits takes 2 bytes, got -- 12 for 0o0: 1 byte lost [odd-bytes]",
      "dump:1:1: error: a word of 16 bits takes 2 bytes, got 34 -- for 0o1: 1 byte lost [odd-bytes]",
     ]),
    ("hex overlap", "dump", None, FileWord(16), ":020000001234B8\n:020000001235B7\n" + END, False,
     [
      "dump:2:1: error: an address has one word, got 011065 for 0o0 which had 011064 [word-given-twice]",
     ]),
    ("hex overlap of halves", "dump", None, FileWord(16), ":0100000012ED\n:0100000013EC\n:0100010034CA\n" + END, False,
     [
      "dump:2:1: error: an address has one word, got byte 13 for 0o0 which had byte 12 [word-given-twice]",
     ]),
    ("hex segment", "dump", None, FileWord(16), ":02FFFF001234BA\n" + END, False,
     [
      "dump:1:1: error: the segment ends at ffff, got a record beyond it: bytes ffff to 10000 lost [record-crosses-segment]",
     ]),
    ("hex spare bits", "dump", None, FileWord(12), ":02000000C0A19D\n" + END, False,
     [
      "dump:1:1: error: a word of 12 bits leaves 4 bits above it 0 in 2 bytes, got c0 a1 for 0o0: word lost [spare-bits-set]",
     ]),
    ("hex beyond", "dump", None, FileWord(16, words=1024), ":020000041000EA\n:020000001234B8\n" + END, False,
     [
      "dump:2:1: error: the store ends at 0o1777, got 0o1000000000: lost [address-beyond]",
     ]),
    ("hex only end", "dump", None, FileWord(16), END, False,
     [
      "dump: error: an image file holds at least one word, got none [image-empty]",
     ]),
    ("s sum", "dump", None, FileWord(16), "S10500001234B5\nS9030000FC\n", False,
     [
      "dump:1:1: error: the record's sum byte is B4, got B5: bytes 0000 to 0001 lost [record-checksum]",
     ]),
    ("s cut", "dump", None, FileWord(16), "S1050000123\nS9030000FC\n", False,
     [
      "dump:1:11: error: a record has pairs of digits, got 9 digits: record lost [record-length]",
     ]),
    ("s shorter", "dump", None, FileWord(16), "S105000012B4\nS9030000FC\n", False,
     [
      "dump:1:1: error: the record says 5 bytes, got 4: bytes 0000 to 0001 lost [record-length]",
     ]),
    ("s count too small", "dump", None, FileWord(16), "S10200FD\nS9030000FC\n", False,
     [
      "dump:1:1: error: an S1 record counts 3 bytes or more, got 2: record lost [record-length]",
     ]),
    ("s kind 4", "dump", None, FileWord(16), "S40500001234B4\nS9030000FC\n", False,
     [
      "dump:1:1: error: record kinds are S0 to S9 without S4, got S4: record lost [record-kind]",
     ]),
    ("s not a record", "dump", None, FileWord(16), "S10500001234B4\nT9030000FC\n", False,
     [
      "dump:2:1: error: the last record is S7, S8 or S9, got none: what followed is lost [record-end]",
      "dump:2:1: error: a record starts with S and a digit, got 'T9': line lost [not-a-record]",
     ]),
    ("s total", "dump", None, FileWord(16), "S10500001234B4\nS5030003F9\nS9030000FC\n", False,
     [
      "dump:2:1: error: the file says 3 data records, got 1 [record-total]",
     ]),
    ("s no end", "dump", None, FileWord(16), "S10500001234B4\n", False,
     [
      "dump:1:1: error: the last record is S7, S8 or S9, got none: what followed is lost [record-end]",
     ]),
    ("s count stands for the end", "dump", None, FileWord(16), "S10500001234B4\nS5030001FB\n", True,
     [
      "dump:2:1: warning: the last record is S7, S8 or S9, got a count, which is right: nothing is lost [record-end]",
     ]),
    ("s end kind", "dump", None, FileWord(16), "S10500001234B4\nS804000000FB\n", True,
     [
      "dump:2:1: warning: an S8 record ends a file of S2 records, got S1 [record-end-kind]",
     ]),
    ("s after end", "dump", None, FileWord(16), "S9030000FC\nS10500001234B4\n", False,
     [
      "dump:2:1: error: nothing follows the end record, got another line: lost [record-end]",
     ]),
    ("s data in the end record", "dump", None, FileWord(16), "S10500001234B4\nS904000000FB\n", False,
     [
      "dump:2:1: error: the last record is S7, S8 or S9, got none: what followed is lost [record-end]",
      "dump:2:1: error: an S9 record has no data, got 1 byte: record lost [record-kind]",
     ]),
    ("raw odd", "dump.bin", None, FileWord(16), b"\x124V", False,
     [
      "dump.bin: error: a word of 16 bits takes 2 bytes, got 3 in all: the last 1 byte lost [odd-bytes]",
     ]),
    ("raw empty", "dump.bin", None, FileWord(16), b"", False,
     [
      "dump.bin: error: an image file holds at least one word, got none [image-empty]",
     ]),
    ("raw spare", "dump.bin", None, FileWord(12), b"\x01#A#", False,
     [
      "dump.bin: error: a word of 12 bits leaves 4 bits above it 0 in 2 bytes, got 41 23 for 0o1: word lost [spare-bits-set]",
     ]),
    ("raw low end first", "dump.bin", None, FileWord(12), b"#\x01V\x04", False,
     [
      "dump.bin: error: a word of 12 bits leaves 4 bits above it 0 in 2 bytes, got 23 01 for 0o0: word lost [spare-bits-set] | it would be a word with byte order little and alignment low",
      "dump.bin: error: a word of 12 bits leaves 4 bits above it 0 in 2 bytes, got 56 04 for 0o1: word lost [spare-bits-set] | it would be a word with byte order little and alignment low",
     ]),
    ("raw high", "dump.bin", None, FileWord(12), b"\x120E`", False,
     [
      "dump.bin: error: a word of 12 bits leaves 4 bits above it 0 in 2 bytes, got 12 30 for 0o0: word lost [spare-bits-set] | it would be a word with alignment high",
      "dump.bin: error: a word of 12 bits leaves 4 bits above it 0 in 2 bytes, got 45 60 for 0o1: word lost [spare-bits-set] | it would be a word with alignment high",
     ]),
    ("raw beyond", "dump.bin", None, FileWord(16, words=4), b"\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00", False,
     [
      "dump.bin: error: the store ends at 0o3, got 5 words up to 0o4: lost [address-beyond]",
     ]),
    ("raw no size", "dump.bin", None, None, b"\x00\x01", False,
     [
      "dump.bin: error: the word size is stated, got none for raw bytes [word-size-not-stated]",
     ]),
    ("csv heading", "dump", None, FileWord(16), "adress,word\n0,1\n", False,
     [
      "dump:1:1: error: the heading has one column 'address', got adress, word [csv-columns] | did you mean 'address'?",
     ]),
    ("csv heading twice", "dump", None, FileWord(16), "address,word,word\n0,1,2\n", False,
     [
      "dump:1:1: error: the heading has one column 'word', got address, word, word [csv-columns]",
     ]),
    ("csv other columns", "dump", None, FileWord(16), "address,word,seen by\n0,1,me\n", True,
     [
      "dump:1:14: warning: only address and word are read, got a column 'seen by' [csv-column-ignored]",
     ]),
    ("csv fields", "dump", None, FileWord(16), "address,word\n0,1\n1\n2,3,4\n", False,
     [
      "dump:3:1: error: a row has 2 fields, got 1: row lost [csv-row]",
      "dump:4:1: error: a row has 2 fields, got 3: row lost [csv-row]",
     ]),
    ("csv semicolon", "dump", None, FileWord(16), "address,word\n0;1\n", False,
     [
      "dump:2:1: error: a row has 2 fields, got 1: row lost [csv-row] | fields are separated by a comma, here by a semicolon",
     ]),
    ("csv power", "dump", None, FileWord(16), "address,word\n0,1E+05\n", False,
     [
      "dump:2:3: error: octal digits are 0 to 7, got 'E' in '1E+05': row lost [csv-number]",
     ]),
    ("csv fraction", "dump", None, FileWord(16), "address,word\n0,17.0\n", False,
     [
      "dump:2:3: error: octal digits are 0 to 7, got '.' in '17.0': row lost [csv-number]",
     ]),
    ("csv empty word", "dump", None, FileWord(16), "address,word\n0,\n", False,
     [
      "dump:2:3: error: a word is written in octal digits, got '': row lost [csv-number]",
     ]),
    ("csv quote", "dump", None, FileWord(16), 'address,word\n"0,1\n', False,
     [
      "dump:2:1: error: a quote encloses a whole field, got one out of place: row lost [csv-row]",
     ]),
    ("csv unknown address", "dump", None, FileWord(16), "address,word\n0?,1\n", False,
     [
      "dump:2:1: error: an address is wholly known, got ?: row lost [csv-number]",
     ]),
    ("csv wide", "dump", None, FileWord(16), "address,word\n0,0x10000\n", False,
     [
      "dump:2:3: error: a word of 16 bits holds 0 to 0o177777, got 0x10000: row lost [csv-number]",
     ]),
    ("csv twice", "dump", None, FileWord(16), "address,word\n0,1\n0,2\n", False,
     [
      "dump:3:3: error: an address has one word, got 000002 for 0o0 which had 000001 [word-given-twice]",
     ]),
    ("csv cut", "dump", None, FileWord(16), "address,word\n0,1\n1,1", True,
     [
      "dump:3:3: warning: the last line has no line end: the file may be cut short [end-cut]",
     ]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "file", "form", "word", "content", "reads", "problems"), CASES, ids=[c[0] for c in CASES]
)
def test_malformed(name, file, form, word, content, reads, problems):
    data = content if isinstance(content, bytes) else content.encode()
    try:
        found = read_image(file, data, word, form).warnings
    except InputError as error:
        assert not reads, name
        found = error.problems
    else:
        assert reads, name
    assert [p.headline + (f" | {p.hint}" if p.hint else "") for p in found] == problems


def test_the_corpus_is_large_and_names_lines():
    assert len(CASES) >= 40
    assert len({case[0] for case in CASES}) == len(CASES)


def test_only_a_hundred_problems_are_listed_and_the_rest_counted():
    text = HEAD + "8\n" * 150
    with pytest.raises(InputError) as caught:
        read_image("dump", text.encode())
    assert len(caught.value.problems) == 101
    assert caught.value.problems[0].headline == (
        "dump: error: 100 problems of this file are listed, 50 more are not [more-problems]"
    )

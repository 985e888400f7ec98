"""A corpus of malformed files, each pinned to its message, place, advice and second place.

The wording between "the file must be valid TOML:" and the code is the standard library's.
"""

import pytest

from emu.errors import InputError
from emu.tomlfile import parse
from emu.where import Source

# text, headline after the file's name, hint, place of the note
CORPUS = [
    (
        "name = fulmar\n",
        "1:8: error: the file must be valid TOML: invalid value [toml-syntax]",
        'text needs quotes: "fulmar"',
        "",
    ),
    (
        "bits = 0x\n",
        "1:9: error: the file must be valid TOML: expected newline or end of document after a statement [toml-syntax]",
        "this is no number; text needs quotes",
        "",
    ),
    (
        "bits = 017\n",
        "1:9: error: the file must be valid TOML: expected newline or end of document after a statement [toml-syntax]",
        "a number does not begin with 0; octal is written 0o17, hexadecimal 0x0f",
        "",
    ),
    (
        "a = [1, 017]\n",
        "1:10: error: the file must be valid TOML: unclosed array [toml-syntax]",
        "a number does not begin with 0; octal is written 0o17, hexadecimal 0x0f",
        "",
    ),
    (
        "flag = True\n",
        "1:8: error: the file must be valid TOML: invalid value [toml-syntax]",
        "truth values are written true and false, in small letters",
        "",
    ),
    (
        "flag = FALSE\n",
        "1:8: error: the file must be valid TOML: invalid value [toml-syntax]",
        "truth values are written true and false, in small letters",
        "",
    ),
    (
        "word\n",
        "1:5: error: the file must be valid TOML: expected '=' after a key in a key/value pair [toml-syntax]",
        "write key = value",
        "",
    ),
    (
        "word =\n",
        "1:7: error: the file must be valid TOML: invalid value [toml-syntax]",
        "a value is a number, true, false, a date, a quoted string, [..] or {..}",
        "",
    ),
    (
        "= 16\n",
        "1:1: error: the file must be valid TOML: invalid statement [toml-syntax]",
        "a line is one key = value, a [table], or a # comment",
        "",
    ),
    (
        '"word = 16\n',
        "1:11: error: the file must be valid TOML: illegal character '\\n' [toml-syntax]",
        'close the quotes on the same line; text of several lines has """',
        "",
    ),
    (
        'word = "16\n',
        "1:11: error: the file must be valid TOML: illegal character '\\n' [toml-syntax]",
        'close the quotes on the same line; text of several lines has """',
        "",
    ),
    ("word = '16\n", '1:11: error: the file must be valid TOML: expected "\'" [toml-syntax]', "", "1:8"),
    (
        'word = """16\n',
        "1:13: error: the file must be valid TOML: unterminated string [toml-syntax]",
        "",
        "1:10",
    ),
    (
        "word = '''16\n\n",
        "1:13: error: the file must be valid TOML: expected \"'''\" [toml-syntax]",
        "",
        "1:10",
    ),
    ("a = [1, 2\n", "1:10: error: the file must be valid TOML: unclosed array [toml-syntax]", "", "1:5"),
    (
        "a = [1 2]\n",
        "1:8: error: the file must be valid TOML: unclosed array [toml-syntax]",
        "entries of an array are separated by commas",
        "",
    ),
    (
        "a = { b = 1\n",
        "1:12: error: the file must be valid TOML: unclosed inline table [toml-syntax]",
        "an inline table stands on one line",
        "",
    ),
    (
        "a = { b = 1, }\n",
        "1:14: error: the file must be valid TOML: invalid initial character for a key part [toml-syntax]",
        "no comma stands before the closing brace",
        "",
    ),
    (
        "a = { b = 1 c = 2 }\n",
        "1:13: error: the file must be valid TOML: unclosed inline table [toml-syntax]",
        "entries of an inline table are separated by commas",
        "",
    ),
    (
        "[word\nbits = 1\n",
        "1:6: error: the file must be valid TOML: expected ']' at the end of a table declaration [toml-syntax]",
        "",
        "",
    ),
    (
        "[[word]\nbits = 1\n",
        "1:7: error: the file must be valid TOML: expected ']]' at the end of an array declaration [toml-syntax]",
        "",
        "",
    ),
    (
        "[word]]\n",
        "1:7: error: the file must be valid TOML: expected newline or end of document after a statement [toml-syntax]",
        "only one key = value, or one [table], stands on a line",
        "",
    ),
    (
        "[]\n",
        "1:2: error: the file must be valid TOML: invalid initial character for a key part [toml-syntax]",
        "a key is made of letters a to z, digits, - and _, or is quoted",
        "",
    ),
    (
        "[a.]\n",
        "1:4: error: the file must be valid TOML: invalid initial character for a key part [toml-syntax]",
        "a key is made of letters a to z, digits, - and _, or is quoted",
        "",
    ),
    (
        "[a..b]\n",
        "1:4: error: the file must be valid TOML: invalid initial character for a key part [toml-syntax]",
        "a key is made of letters a to z, digits, - and _, or is quoted",
        "",
    ),
    (
        "a. = 1\n",
        "1:4: error: the file must be valid TOML: invalid initial character for a key part [toml-syntax]",
        "a key is made of letters a to z, digits, - and _, or is quoted",
        "",
    ),
    (
        "a = 1 b = 2\n",
        "1:7: error: the file must be valid TOML: expected newline or end of document after a statement [toml-syntax]",
        "only one key = value, or one [table], stands on a line",
        "",
    ),
    (
        "[word] bits = 16\n",
        "1:8: error: the file must be valid TOML: expected newline or end of document after a statement [toml-syntax]",
        "only one key = value, or one [table], stands on a line",
        "",
    ),
    (
        'a = "\\q"\n',
        "1:8: error: the file must be valid TOML: unescaped '\\' in a string [toml-syntax]",
        "in a string, write two backslashes, or use 'single quotes'",
        "",
    ),
    ('a = "\\u12"\n', "1:8: error: the file must be valid TOML: invalid hex value [toml-syntax]", "", ""),
    (
        'a = "\\ud800"\n',
        "1:12: error: the file must be valid TOML: escaped character is not a Unicode scalar value [toml-syntax]",
        "",
        "",
    ),
    (
        'a = "x\x00y"\n',
        "1:7: error: the file must be valid TOML: illegal character '\\x00' [toml-syntax]",
        "",
        "",
    ),
    (
        "a = 2024-13-01\n",
        "1:9: error: the file must be valid TOML: expected newline or end of document after a statement [toml-syntax]",
        "a date is written 2024-05-31, and must exist",
        "",
    ),
    (
        "a = 1__0\n",
        "1:6: error: the file must be valid TOML: expected newline or end of document after a statement [toml-syntax]",
        "an underscore stands between two digits",
        "",
    ),
    (
        "a = 1_\n",
        "1:6: error: the file must be valid TOML: expected newline or end of document after a statement [toml-syntax]",
        "an underscore stands between two digits",
        "",
    ),
    (
        "a = .5\n",
        "1:5: error: the file must be valid TOML: invalid value [toml-syntax]",
        "write a digit before the point: 0.5",
        "",
    ),
    (
        "a = 5.\n",
        "1:6: error: the file must be valid TOML: expected newline or end of document after a statement [toml-syntax]",
        "this is no number; text needs quotes",
        "",
    ),
    (
        "a = 1e\n",
        "1:6: error: the file must be valid TOML: expected newline or end of document after a statement [toml-syntax]",
        "this is no number; text needs quotes",
        "",
    ),
    (
        "a = +0x10\n",
        "1:7: error: the file must be valid TOML: expected newline or end of document after a statement [toml-syntax]",
        "this is no number; text needs quotes",
        "",
    ),
    (
        "a : 1\n",
        "1:3: error: the file must be valid TOML: expected '=' after a key in a key/value pair [toml-syntax]",
        "write key = value",
        "",
    ),
    (
        "key with space = 1\n",
        "1:5: error: the file must be valid TOML: expected '=' after a key in a key/value pair [toml-syntax]",
        "a key of several words needs quotes; then write key = value",
        "",
    ),
    (
        "ключ = 1\n",
        "1:1: error: the file must be valid TOML: invalid statement [toml-syntax]",
        'a key with other letters than a to z needs quotes: "ключ"',
        "",
    ),
    (
        "a = “16”\n",
        "1:5: error: the file must be valid TOML: invalid value [toml-syntax]",
        "use straight quotes: \" or '",
        "",
    ),
    (
        "a = 1\rb = 2\n",
        "1:6: error: the file must be valid TOML: expected newline or end of document after a statement [toml-syntax]",
        "only one key = value, or one [table], stands on a line",
        "",
    ),
    (
        "a = 1 // comment\n",
        "1:7: error: the file must be valid TOML: expected newline or end of document after a statement [toml-syntax]",
        "a comment begins with #",
        "",
    ),
    (
        "; comment\n",
        "1:1: error: the file must be valid TOML: invalid statement [toml-syntax]",
        "a comment begins with #",
        "",
    ),
    (
        "<<<<<<< mine\n",
        "1:1: error: the file must be valid TOML: invalid statement [toml-syntax]",
        "a line is one key = value, a [table], or a # comment",
        "",
    ),
    (
        '{"word": 16}\n',
        "1:1: error: the file must be valid TOML: invalid statement [toml-syntax]",
        "a line is one key = value, a [table], or a # comment",
        "",
    ),
    (
        "word:\n  bits: 16\n",
        "1:5: error: the file must be valid TOML: expected '=' after a key in a key/value pair [toml-syntax]",
        "write key = value",
        "",
    ),
    (
        "a = 1\na = 2\n",
        "2:1: error: a key or table may be given only once; 'a' is given again [duplicate-key]",
        "",
        "1:1",
    ),
    (
        "[a]\n[b]\n[a]\n",
        "3:2: error: a key or table may be given only once; 'a' is given again [duplicate-key]",
        "entries of a list of tables have double brackets: [[name]]",
        "1:2",
    ),
    (
        "[[a]]\n[a]\n",
        "2:2: error: a key or table may be given only once; 'a' is given again [duplicate-key]",
        "entries of a list of tables have double brackets: [[name]]",
        "1:3",
    ),
    (
        "[a]\n[[a]]\n",
        "2:3: error: a key or table may be given only once; 'a' is given again [duplicate-key]",
        "entries of a list of tables have double brackets: [[name]]",
        "1:2",
    ),
    (
        "a = [1]\n[[a]]\n",
        "2:3: error: a key or table may be given only once; 'a' is given again [duplicate-key]",
        "entries of a list of tables have double brackets: [[name]]",
        "1:1",
    ),
    (
        "a.b = 1\n[a]\n",
        "2:2: error: a key or table may be given only once; 'a' is given again [duplicate-key]",
        "entries of a list of tables have double brackets: [[name]]",
        "1:1",
    ),
    (
        "[a]\nb = 1\n[a.b]\n",
        "3:4: error: a key or table may be given only once; 'a.b' is given again [duplicate-key]",
        "entries of a list of tables have double brackets: [[name]]",
        "2:1",
    ),
    (
        "[a]\nb = 1\n[a.b.c]\n",
        "3:6: error: a key or table may be given only once; 'a.b' is given again [duplicate-key]",
        "entries of a list of tables have double brackets: [[name]]",
        "2:1",
    ),
    (
        "a = { b = 1, b = 2 }\n",
        "1:14: error: a key or table may be given only once; 'a.b' is given again [duplicate-key]",
        "",
        "1:7",
    ),
    (
        "a = { b = 1 }\na.c = 2\n",
        "2:3: error: a key or table may be given only once; 'a' is given again [duplicate-key]",
        "",
        "1:1",
    ),
    (
        "a = { b = 1 }\n[a.c]\n",
        "2:4: error: a key or table may be given only once; 'a' is given again [duplicate-key]",
        "entries of a list of tables have double brackets: [[name]]",
        "1:1",
    ),
    (
        '[t]\na = 1\n"a" = 2\n',
        "3:1: error: a key or table may be given only once; 't.a' is given again [duplicate-key]",
        "",
        "2:1",
    ),
    (
        "a = 1\na.b = 2\n",
        "2:3: error: a key or table may be given only once; 'a' is given again [duplicate-key]",
        "",
        "1:1",
    ),
    (
        "a.b = 1\na.b.c = 2\n",
        "2:5: error: a key or table may be given only once; 'a.b' is given again [duplicate-key]",
        "",
        "1:3",
    ),
    (
        "[a.b]\n[a]\nb = 1\n",
        "3:1: error: a key or table may be given only once; 'a.b' is given again [duplicate-key]",
        "",
        "1:4",
    ),
    (
        "[a]\nx.y = 1\n[a.x]\n",
        "3:4: error: a key or table may be given only once; 'a.x' is given again [duplicate-key]",
        "entries of a list of tables have double brackets: [[name]]",
        "2:1",
    ),
    (
        "é = 1",
        "1:1: error: the file must be valid TOML: invalid statement [toml-syntax]",
        'a key with other letters than a to z needs quotes: "é"',
        "",
    ),
    (
        'a = "tab\there"\na = 1\n',
        "2:1: error: a key or table may be given only once; 'a' is given again [duplicate-key]",
        "",
        "1:1",
    ),
    (
        'a = [\n"""x"""\n,\n1 2]',
        "4:3: error: the file must be valid TOML: unclosed array [toml-syntax]",
        "entries of an array are separated by commas",
        "",
    ),
]


@pytest.mark.parametrize(("text", "headline", "hint", "note"), CORPUS)
def test_each_malformed_file_has_its_message(text: str, headline: str, hint: str, note: str):
    with pytest.raises(InputError) as caught:
        parse(Source("f", text))
    (problem,) = caught.value.problems
    assert problem.headline == f"f:{headline}"
    assert problem.hint == hint
    assert [str(n.place) for n in problem.notes] == ([f"f:{note}"] if note else [])


@pytest.mark.parametrize("text", [row[0] for row in CORPUS])
def test_windows_line_ends_and_a_missing_last_one_change_no_place(text: str):
    def places(written: str) -> list[tuple[str, str]]:
        with pytest.raises(InputError) as caught:
            parse(Source("f", written))
        return [(p.code.slug, str(p.place)) for p in caught.value.problems]

    assert places(text.replace("\n", "\r\n")) == places(text)

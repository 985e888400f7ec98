"""From a TOML document to instances of declared classes, with every problem at its place.

Strict: no unknown keys (but ``notes`` and keys that begin with ``x-``), no coercion. See :mod:`emu.schema`.
"""

import math
import re
from collections.abc import Callable
from typing import Any, Final, TypeVar

from attrs import frozen

from emu.errors import Note, Problems, declare, nearest
from emu.schema import (
    Anything,
    Array,
    Either,
    Field,
    KeyRule,
    Mapped,
    Scalar,
    Shape,
    Table,
    Tagged,
    fields_of,
    limits_in_words,
    path_field,
    toml_text,
)
from emu.tomlfile import TomlDocument, TomlPath
from emu.where import Place

T = TypeVar("T")

UNKNOWN_KEY = declare(
    "unknown-key",
    "Only documented keys are accepted; a slip of the pen must not be ignored.",
    "Correct the spelling, or put remarks of your own under `notes` or a key that begins with `x-`.",
    "[word]\nbist = 16\n",
    "machine",
)
MISSING_KEY = declare(
    "missing-key",
    "A table must hold the keys its description calls required.",
    "Add the key.",
    'format = "machine/1"\n',
    "machine",
)
WRONG_TYPE = declare(
    "wrong-type",
    "A value must have the type its description gives; nothing is converted.",
    'Numbers and true/false stand without quotes, text with: `bits = 16`, `name = "acc"`.',
    '[word]\nbits = "16"\n',
    "machine",
)
OUT_OF_RANGE = declare(
    "out-of-range",
    "A number must lie within the bounds its description gives.",
    "Use a number within the bounds; the message states them.",
    "[word]\nbits = 65\n",
    "machine",
)
BAD_CHOICE = declare(
    "bad-choice",
    "The value must be one of a few.",
    "Use one of the values the message lists.",
    '[word]\narithmetic = "two"\n',
    "machine",
)
BAD_VALUE = declare(
    "bad-value",
    "The value must have the form its description gives.",
    "Write it in the form the message states.",
    '[[register]]\nname = "not a name!"\nbits = 12\n',
    "machine",
)
WRONG_COUNT = declare(
    "wrong-count",
    "An array must have as many entries as its description allows.",
    "Add or remove entries.",
    "instruction = []\n",
    "machine",
)
DUPLICATE_NAME = declare(
    "duplicate-name",
    "Two entries of one list may not have the same name.",
    "Rename or remove one of them.",
    '[[register]]\nname = "acc"\nbits = 12\n\n[[register]]\nname = "acc"\nbits = 12\n',
    "machine",
)

_BAD: Final = object()
_MOST_SHOWN = 40
_NUMBER = re.compile(r"[+-]?[0-9][0-9_]*|0x[0-9A-Fa-f_]+|0o[0-7_]+|0b[01_]+")
_IN_BASE: Final[dict[str, Callable[[Any], str]]] = {"0x": hex, "0o": oct, "0b": bin}
_YES_NO: Final = {"true": "true", "yes": "true", "on": "true", "1": "true"} | {
    "false": "false",
    "no": "false",
    "off": "false",
    "0": "false",
}


def build(cls: type[T], document: TomlDocument, problems: Problems, path: TomlPath = ()) -> T | None:
    """Return the instance of ``cls`` that the table at ``path`` describes; record problems.

    The best that can be made is returned, so that rules across fields can go on: a bad optional key has its
    default, a bad entry of a list is left out. None if a required key is missing or bad. The result is to be
    trusted only if nothing was recorded. KeyError if there is nothing at ``path``.
    """
    made = _Builder(document, problems).read(Table(cls), KeyRule(""), path, document.value(path))
    return made if isinstance(made, cls) else None


def key_path(owner: Any, attribute: str, *steps: str | int) -> TomlPath:
    """Return the key path of an attribute of a built object that has an ``own_path`` field."""
    cls = type(owner)
    names = {declared.attribute: name for name, declared in fields_of(cls).items()}
    return (*getattr(owner, path_field(cls)), names[attribute], *steps)


def header_of(path: TomlPath) -> str:
    """Return how errors call a table: ``the top of the file``, ``[word]``, ``[[register]] 2`` (from 1)."""
    if not path:
        return "the top of the file"
    dotted = ".".join(_clip(str(step)) for step in path if isinstance(step, str))
    counts = [step + 1 for step in path if isinstance(step, int)]
    if isinstance(path[-1], int):
        return f"[[{dotted}]] {counts[-1]}"
    return f"[{dotted}]" + (f" of entry {counts[-1]}" if counts else "")


def _clip(text: str) -> str:
    shown = "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text[: _MOST_SHOWN + 1])
    return shown if len(text) <= _MOST_SHOWN else shown[: _MOST_SHOWN - 2] + ".."


def _given(literal: str, value: Any) -> str:
    """Say what stands in the file."""
    match value:
        case bool():
            return f"the truth value {literal}"
        case str():
            return f"the string {_clip(toml_text(value))}"
        case int() | float():
            return f"the number {_clip(literal)}"
        case list():
            return "a list of tables" if value and isinstance(value[0], dict) else "an array"
        case dict():
            return "a table"
        case _:
            return f"the time {_clip(literal)}"


@frozen
class _Builder:
    document: TomlDocument
    problems: Problems

    @property
    def full(self) -> bool:
        """Whether more problems would only be counted: then no time is spent on wording them."""
        return len(self.problems.found) >= self.problems.limit

    def table(self, cls: type, path: TomlPath, value: Any, tag: str = "") -> Any:
        declared = fields_of(cls)
        self.refuse_unknown([*declared, tag] if tag else list(declared), path, value)
        made: dict[str, Any] = {}
        usable = True
        for name, one in declared.items():
            if name in value:
                read = self.read(one.shape, one.rule, (*path, name), value[name])
                if read is not _BAD:
                    made[one.attribute.lstrip("_")] = read
                    continue
            elif one.required:
                self.missing(one, path)
            usable = usable and not one.required
        if own := path_field(cls):
            made[own] = path
        return cls(**made) if usable else _BAD

    def read(self, shape: Shape, rule: KeyRule, path: TomlPath, value: Any) -> Any:
        """Return the value in its shape, or _BAD after recording why not."""
        if not shape.fits(value):
            return self.wrong_type(shape, path, value)
        read = value
        match shape:
            case Scalar():
                read = self.scalar(shape, rule, path, value)
            case Array():
                read = self.array(shape, rule, path, value)
            case Mapped():
                read = self.mapped(shape, rule, path, value)
            case Table():
                read = self.table(shape.cls, path, value)
            case Tagged():
                read = self.tagged(shape, path, value)
            case Either():
                read = self.read(next(s for s in shape.shapes if s.fits(value)), rule, path, value)
            case Anything():
                pass
        return read

    def scalar(self, shape: Scalar, rule: KeyRule, path: TomlPath, value: Any) -> Any:
        if float in shape.types:
            value = float(value)
        if shape.choices and value not in shape.choices:
            return self.bad_choice(shape.choices, path, value)
        if type(value) in {int, float} and not _within(rule, value):
            return self.out_of_range(rule, path, value)
        if isinstance(value, str) and rule.pattern and not re.fullmatch(rule.pattern, value):
            return self.bad_value(rule.pattern_rule or f"match {rule.pattern}", path)
        if rule.check and (must := rule.check(value)):
            return self.bad_value(must, path)
        return value

    def array(self, shape: Array, rule: KeyRule, path: TomlPath, value: Any) -> Any:
        if len(value) < rule.fewest or (rule.most is not None and len(value) > rule.most):
            self.wrong_count(rule, path, len(value))
        if isinstance(shape.of, Table | Tagged) and rule.unique:
            self.refuse_twins(rule.unique, path, value)
        read = [self.read(shape.of, rule, (*path, i), entry) for i, entry in enumerate(value)]
        return tuple(r for r in read if r is not _BAD)

    def mapped(self, shape: Mapped, rule: KeyRule, path: TomlPath, value: Any) -> Any:
        read = {name: self.read(shape.of, rule, (*path, name), inner) for name, inner in value.items()}
        return {name: r for name, r in read.items() if r is not _BAD}

    def tagged(self, shape: Tagged, path: TomlPath, value: Any) -> Any:
        if shape.tag not in value:
            known = ", ".join(toml_text(c) for c in shape.classes)
            message = f"{header_of(path)} lacks the key {shape.tag!r}"
            self.problems.add(MISSING_KEY, message, self.here(path), hint=f"add {shape.tag} = one of {known}")
            return _BAD
        inner, given = (*path, shape.tag), value[shape.tag]
        if not isinstance(given, str):
            return self.wrong_type(Scalar((str,), "a string"), inner, given)
        if given not in shape.classes:
            return self.bad_choice(tuple(shape.classes), inner, given)
        return self.table(shape.classes[given], path, value, shape.tag)

    def here(self, path: TomlPath) -> Place:
        return self.document.place(path)

    def what(self, path: TomlPath) -> str:
        """Say which value is spoken of: a key's name, or an entry of an array."""
        if isinstance(path[-1], int):
            name = next((s for s in reversed(path) if isinstance(s, str)), "")
            return f"entry {path[-1] + 1} of {_clip(name)!r}"
        return repr(_clip(path[-1]))

    def refuse_unknown(self, known: list[str], path: TomlPath, value: dict[str, Any]) -> None:
        for name in value:
            if name in known or name == "notes" or name.startswith("x-"):
                continue
            hint = "" if self.full else nearest(name, known)
            hint = hint or f"known here: {', '.join(known)}"
            message = f"{header_of(path)} has no key {_clip(name)!r}"
            self.problems.add(UNKNOWN_KEY, message, self.document.key_place((*path, name)), hint=hint)

    def refuse_twins(self, name: str, path: TomlPath, entries: list[Any]) -> None:
        first: dict[Any, TomlPath] = {}
        for i, entry in enumerate(entries):
            given = entry.get(name) if isinstance(entry, dict) else None
            if type(given) not in {str, int}:
                continue
            where = (*path, i, name)
            earlier = first.setdefault(given, where)
            if earlier != where:
                shown = _clip(toml_text(given))
                message = f"no two [[{path[-1]}]] may have the same {name}; {shown} is given again"
                note = Note("first given here", self.here(earlier))
                self.problems.add(DUPLICATE_NAME, message, self.here(where), notes=(note,))

    def missing(self, one: Field, path: TomlPath) -> None:
        message = f"{header_of(path)} lacks the key {one.key!r}"
        wanted = _example(one)
        self.problems.add(MISSING_KEY, message, self.here(path), hint=f"add {wanted}: {one.rule.doc}")

    def wrong_type(self, shape: Shape, path: TomlPath, value: Any) -> object:
        literal = self.document.literal(path)
        message = f"{self.what(path)} must be {shape.words}; given {_given(literal, value)}"
        self.problems.add(WRONG_TYPE, message, self.here(path), hint=_type_hint(shape, literal, value, path))
        return _BAD

    def out_of_range(self, rule: KeyRule, path: TomlPath, value: float) -> object:
        literal = self.document.literal(path)
        whole = isinstance(rule.low, int | None) and isinstance(rule.high, int | None)
        show: Callable[[Any], str] = _IN_BASE.get(literal[:2], str) if whole else str
        limits = limits_in_words(rule, show) or "a finite number"
        bound = rule.low if rule.low is not None and value < rule.low else rule.high
        hint = f"the nearest allowed is {show(bound)}" if bound is not None and math.isfinite(value) else ""
        message = f"{self.what(path)} must be {limits}; given {_clip(literal)}"
        self.problems.add(OUT_OF_RANGE, message, self.here(path), hint=hint)
        return _BAD

    def bad_choice(self, choices: tuple[str | int, ...], path: TomlPath, value: Any) -> object:
        listed = ", ".join(toml_text(c) for c in choices)
        given = _clip(self.document.literal(path))
        near = "" if self.full else nearest(str(value), [str(c) for c in choices])
        message = f"{self.what(path)} must be one of {listed}; given {given}"
        self.problems.add(BAD_CHOICE, message, self.here(path), hint=near)
        return _BAD

    def bad_value(self, must: str, path: TomlPath) -> object:
        given = _clip(self.document.literal(path))
        self.problems.add(BAD_VALUE, f"{self.what(path)} must be {must}; given {given}", self.here(path))
        return _BAD

    def wrong_count(self, rule: KeyRule, path: TomlPath, given: int) -> None:
        if rule.most is None:
            must = f"at least {rule.fewest}"
        else:
            must = str(rule.most) if rule.fewest == rule.most else f"from {rule.fewest} to {rule.most}"
        message = f"{self.what(path)} must have {must} entries; given {given}"
        self.problems.add(WRONG_COUNT, message, self.here(path))


def _within(rule: KeyRule, value: float) -> bool:
    if isinstance(value, float) and not math.isfinite(value):
        return False
    return (rule.low is None or value >= rule.low) and (rule.high is None or value <= rule.high)


def _example(one: Field) -> str:
    """Return how a missing key could be written."""
    match one.shape:
        case Array(of=Table() | Tagged()):
            return f"[[{one.key}]]"
        case Table() | Tagged() | Mapped():
            return f"[{one.key}]"
        case Array():
            return f"{one.key} = [..]"
        case Scalar(types=(first, *_)) if first is str:
            return f'{one.key} = ".."'
        case _:
            return f"{one.key} = .."


def _type_hint(shape: Shape, literal: str, value: Any, path: TomlPath) -> str:
    """Return the nearest right thing to write, if there is one."""
    if isinstance(shape, Scalar):
        return _scalar_hint(shape.types, literal, value)
    name = _clip(path[-1]) if path and isinstance(path[-1], str) else ""
    if isinstance(shape, Array):
        if name and isinstance(shape.of, Table | Tagged) and isinstance(value, dict):
            return f"write the header with double brackets: [[{name}]]"
        return f"write it in brackets: [{_clip(literal)}]" if shape.of.fits(value) else ""
    if name and isinstance(shape, Table | Tagged | Mapped) and isinstance(value, list):
        return f"write the header once, with single brackets: [{name}]"
    return ""


def _scalar_hint(wanted: tuple[type, ...], literal: str, value: Any) -> str:
    text = value if isinstance(value, str) else _clip(literal)
    if bool in wanted and text.lower() in _YES_NO:
        return f"write {_YES_NO[text.lower()]}"
    if int in wanted and isinstance(value, str) and _NUMBER.fullmatch(value):
        return f"write {_clip(value)} without quotes"
    if int in wanted and isinstance(value, float) and value.is_integer() and abs(value) < 1 << 53:
        return f"write {int(value)}"
    if str in wanted and not isinstance(value, list | dict):
        return f'write it in quotes: "{text}"'
    return ""

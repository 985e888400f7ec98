"""What a TOML file may hold, declared on the attrs class that its tables become.

One declaration serves the reader (:mod:`emu.fromtoml`) and the reference page (:func:`describe`)::

    @frozen
    class Register:
        name: str = key(doc="Its name in programs.", pattern=NAME, pattern_rule="a small-letter name")
        bits: int = key(doc="Its width.", low=1, high=64, unit="bits")
        zero: int | None = key(default=None, doc="Index of the hard-wired zero.", low=0)
        path: TomlPath = own_path()

    @frozen
    class Machine:
        registers: tuple[Register, ...] = key(name="register", doc="The registers.", fewest=1)

The annotation is the type: ``str``, ``int``, ``float``, ``bool``, ``datetime.date``, ``datetime.time``,
``datetime.datetime``, ``Literal["a", "b"]``, another declared class (a table), ``tuple[X, ...]`` (an array),
``tuple[Class, ...]`` (a list of tables), ``dict[str, X]`` (a table whose keys are free), ``Any``, and unions
of these. ``| None`` only gives an optional key its default; TOML has no null. All fields are keyword-only.
"""

import datetime as dt
import types
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, ClassVar, Final, Literal, Union, get_args, get_origin, get_type_hints

import attrs
from attrs import evolve, frozen

REQUIRED: Final[Any] = attrs.NOTHING
"""Default of a key that must be given."""

_RULE: Final = "emu.schema.rule"
_OWN_PATH: Final = "emu.schema.path"

Choice = str | int


@frozen
class KeyRule:
    """What one key may hold, beyond its type; see :func:`key`."""

    doc: str
    name: str = ""
    low: float | None = None
    high: float | None = None
    choices: tuple[Choice, ...] = ()
    pattern: str = ""
    pattern_rule: str = ""
    check: Callable[[Any], str] | None = None
    unit: str = ""
    fewest: int = 0
    most: int | None = None
    unique: str | None = "name"
    variants: Mapping[str, type] | None = None
    tag: str = "kind"


def key(
    *,
    doc: str,
    default: Any = REQUIRED,
    name: str = "",
    low: float | None = None,
    high: float | None = None,
    choices: tuple[Choice, ...] = (),
    pattern: str = "",
    pattern_rule: str = "",
    check: Callable[[Any], str] | None = None,
    unit: str = "",
    fewest: int = 0,
    most: int | None = None,
    unique: str | None = "name",
    variants: Mapping[str, type] | None = None,
    tag: str = "kind",
) -> Any:
    """Declare a field as a key of the file. Without ``default`` the key must be given.

    ``name``: the key, if it is not the field's name (less a trailing underscore).
    ``low``, ``high``: bounds, both included, of each number; ``choices``: what each string or number may be.
    ``pattern``: what the whole of each string must match; ``pattern_rule``: the same in words ("a name ..").
    ``check``: takes each scalar (of the right type and in range) and returns what it must be, or "".
    ``unit``: of numbers, for messages and the reference page.
    ``fewest``, ``most``: how many entries an array may have.
    ``unique``: in a list of tables, the key no two entries may share; None for none.
    ``variants``: for tables of several classes, the value of the key ``tag`` -> the class.
    """
    rule = KeyRule(
        doc, name, low, high, choices, pattern, pattern_rule, check, unit, fewest, most, unique, variants, tag
    )
    return attrs.field(default=default, kw_only=True, metadata={_RULE: rule})


def own_path() -> Any:
    """Declare the field that receives the object's own key path; it takes no part in comparison."""
    return attrs.field(default=(), kw_only=True, eq=False, repr=False, metadata={_OWN_PATH: True})


@frozen
class Scalar:
    """A string, number, truth value or time; ``types`` lists what is accepted, nothing is coerced."""

    types: tuple[type, ...]
    words: str
    choices: tuple[Choice, ...] = ()

    def fits(self, value: Any) -> bool:
        """Whether the value is of an accepted type, exactly: ``true`` is no 1."""
        return type(value) in self.types


@frozen
class Array:
    """An array of any length whose entries have one shape."""

    of: "Shape"

    @property
    def words(self) -> str:
        """What is accepted, in words."""
        return (
            "a list of tables" if isinstance(self.of, Table | Tagged) else f"an array, each {self.of.words}"
        )

    def fits(self, value: Any) -> bool:
        """Whether the value is an array; its entries are judged one by one."""
        return isinstance(value, list)


@frozen
class _AnyTable:
    words: ClassVar[str] = "a table"

    def fits(self, value: Any) -> bool:
        """Whether the value is a table; its keys are judged one by one."""
        return isinstance(value, dict)


@frozen
class Mapped(_AnyTable):
    """A table whose keys are free and whose values have one shape."""

    of: "Shape"


@frozen
class Table(_AnyTable):
    """A table that becomes an instance of ``cls``."""

    cls: type


@frozen
class Tagged(_AnyTable):
    """A table whose key ``tag`` says of which class it is."""

    tag: str
    classes: Mapping[str, type]


@frozen
class Either:
    """One of several shapes; the first whose type fits is taken."""

    shapes: tuple["Shape", ...]

    @property
    def words(self) -> str:
        """What is accepted, in words."""
        return " or ".join(s.words for s in self.shapes)

    def fits(self, value: Any) -> bool:
        """Whether one of the shapes fits."""
        return any(s.fits(value) for s in self.shapes)


@frozen
class Anything:
    """A value that is handed on unread."""

    words: ClassVar[str] = "any value"

    def fits(self, value: Any) -> bool:  # noqa: ARG002  # the same for every shape
        """Whether the value is accepted: it is."""
        return True


Shape = Scalar | Array | Mapped | Table | Tagged | Either | Anything

_SCALARS: Final[Mapping[Any, Scalar]] = {
    str: Scalar((str,), "a string"),
    int: Scalar((int,), "an integer"),
    float: Scalar((float, int), "a number"),
    bool: Scalar((bool,), "true or false"),
    dt.date: Scalar((dt.date,), "a date"),
    dt.time: Scalar((dt.time,), "a time of day"),
    dt.datetime: Scalar((dt.datetime,), "a date and time"),
}


@frozen
class Field:
    """A declared key: its name in the file, the attribute, its rule, shape and default."""

    key: str
    attribute: str
    rule: KeyRule
    shape: Shape
    default: Any

    @property
    def required(self) -> bool:
        """Whether the key must be given."""
        return self.default is REQUIRED


def fields_of(cls: type) -> Mapping[str, Field]:
    """Return the declared keys of a class by their name in the file. TypeError for a type not supported."""
    return _fields_of(cls)


def path_field(cls: type) -> str:
    """Return the name of the class's :func:`own_path` field, or "" if it has none."""
    return _path_field(cls)


@cache
def _fields_of(cls: type) -> Mapping[str, Field]:
    hints = get_type_hints(cls)
    found: dict[str, Field] = {}
    for attribute in attrs.fields(cls):
        rule: KeyRule | None = attribute.metadata.get(_RULE)
        if rule is not None:
            name = rule.name or attribute.name.rstrip("_")
            shape = _shape(hints[attribute.name], rule)
            found[name] = Field(name, attribute.name, rule, shape, attribute.default)
    return found


@cache
def _path_field(cls: type) -> str:
    owned = [a.name for a in attrs.fields(cls) if _OWN_PATH in a.metadata]
    return owned[0] if owned else ""


def _shape(annotation: Any, rule: KeyRule) -> Shape:
    origin, args = get_origin(annotation), get_args(annotation)
    if origin in {tuple, list}:
        return Array(_shape(args[0], rule))
    if origin in {dict, Mapping}:
        return Mapped(_shape(args[1], rule))
    if rule.variants is not None:
        return Tagged(rule.tag, rule.variants)
    if origin in {Union, types.UnionType}:
        shapes = tuple(_shape(a, rule) for a in args if a is not type(None))
        return shapes[0] if len(shapes) == 1 else Either(shapes)
    return _single_shape(annotation, rule)


def _single_shape(annotation: Any, rule: KeyRule) -> Shape:
    if get_origin(annotation) is Literal:
        choices = get_args(annotation)
        return evolve(_SCALARS[type(choices[0])], choices=choices)
    if annotation is Any:
        return Anything()
    if scalar := _SCALARS.get(annotation):
        return evolve(scalar, choices=rule.choices)
    if attrs.has(annotation):
        return Table(annotation)
    raise TypeError(f"a declared key cannot have the type {annotation!r}")


def limits_in_words(rule: KeyRule, show: Callable[[float], str] = str) -> str:
    """Return the bounds of a number in words, "" if it has none."""
    unit = f" {rule.unit}" if rule.unit else ""
    if rule.low is not None and rule.high is not None:
        return f"from {show(rule.low)} to {show(rule.high)}{unit}"
    if rule.low is not None:
        return f"at least {show(rule.low)}{unit}"
    return f"at most {show(rule.high)}{unit}" if rule.high is not None else ""


def toml_text(value: Any) -> str:
    """Return a scalar or an array of scalars as it is written in TOML, for messages and reference pages."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, tuple | list):
        return "[" + ", ".join(toml_text(v) for v in value) + "]"
    return str(value)


@frozen
class KeyRow:
    """One row of the reference: the header of the table, the key, and its rules in words."""

    table: str
    key: str
    type: str
    required: bool
    default: str
    accepts: str
    doc: str


def describe(cls: type) -> list[KeyRow]:
    """Return a row for every key that ``cls`` and the tables below it accept, in order of declaration."""
    return list(_rows(cls, (), "", ()))


def markdown(rows: list[KeyRow]) -> str:
    """Return rows as Markdown: a heading and a table for each table of the file."""
    lines: list[str] = []
    for table in dict.fromkeys(row.table for row in rows):
        lines += [f"### `{table}`" if table else "### Top of the file", ""]
        lines += ["| key | type | required or default | accepts | meaning |", "|---|---|---|---|---|"]
        for row in (r for r in rows if r.table == table):
            given = "required" if row.required else f"`{row.default}`" if row.default else "optional"
            cells = (f"`{row.key}`", row.type, given, row.accepts, row.doc)
            lines.append("| " + " | ".join(c.replace("|", "\\|") for c in cells) + " |")
        lines.append("")
    return "\n".join(lines)


def _rows(cls: type, path: tuple[str, ...], header: str, above: tuple[type, ...]) -> list[KeyRow]:
    rows, below = [], []
    for declared in fields_of(cls).values():
        rows.append(_row(declared, header))
        inner = (*path, declared.key)
        for table, plural, tag in _tables(declared.shape):
            if table not in above:
                name = ".".join(inner)
                title = f"[[{name}]]" if plural else f"[{name}]"
                below += _rows(table, inner, title + tag, (*above, cls))
    return rows + below


def _row(declared: Field, header: str) -> KeyRow:
    default = declared.default
    shown = "" if default is REQUIRED or default is None else toml_text(default)
    if isinstance(default, attrs.Factory):  # type: ignore[arg-type]
        shown = ""
    accepts = _accepts(declared.rule, declared.shape)
    words = declared.shape.words
    return KeyRow(header, declared.key, words, declared.required, shown, accepts, declared.rule.doc)


def _tables(shape: Shape, *, plural: bool = False) -> list[tuple[type, bool, str]]:
    """Return the classes of tables a shape may hold, whether in a list, and the tag's value in words."""
    match shape:
        case Table():
            return [(shape.cls, plural, "")]
        case Tagged():
            return [(c, plural, f" with {shape.tag} = {toml_text(v)}") for v, c in shape.classes.items()]
        case Array():
            return _tables(shape.of, plural=True)
        case Mapped():
            return [(c, plural, f" (each){tag}") for c, _, tag in _tables(shape.of)]
        case Either():
            return [row for s in shape.shapes for row in _tables(s, plural=plural)]
        case Scalar() | Anything():
            return []


def choices_of(shape: Shape) -> tuple[Choice, ...]:
    """Return the values a scalar, or each entry of an array, may take; () for no such list."""
    match shape:
        case Scalar():
            return shape.choices
        case Array() | Mapped():
            return choices_of(shape.of)
        case Either():
            return tuple(c for s in shape.shapes for c in choices_of(s))
        case Table() | Tagged() | Anything():
            return ()


def _accepts(rule: KeyRule, shape: Shape) -> str:
    said = [limits_in_words(rule)]
    if choices := choices_of(shape):
        said.append("one of " + ", ".join(toml_text(c) for c in choices))
    said.append(rule.pattern_rule)
    if rule.fewest:
        said.append(f"at least {rule.fewest} entries" if rule.fewest > 1 else "at least one entry")
    if rule.most is not None:
        said.append(f"at most {rule.most} entries")
    return "; ".join(s for s in said if s)

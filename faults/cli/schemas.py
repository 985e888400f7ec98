"""Declares what ``--json`` prints: one schema a kind of object, with its page and its check.

A shape is a dict (an object with these keys, a key with a ``?`` at its end may be missing), a list with one
shape (an array of such), or a string ``type: meaning``. Types: ``int``, ``text``, ``bool``, ``number``,
``any``; ``int?`` and so on for one that may be null. ``{"*": shape}`` is an object with any keys.
"""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from attrs import frozen

Shape = str | Mapping[str, Any] | list[Any]
_TYPES: Final[dict[str, tuple[type, ...]]] = {
    "int": (int,),
    "text": (str,),
    "bool": (bool,),
    "number": (int, float),
    "any": (object,),
}
_INTRODUCTION: Final = """\
# What `--json` prints

Every command with `--json` prints one object on standard output. Its `schema` names the kind of object
and the version of that kind; within a version keys are only added, never renamed, and keep their meaning.
Addresses and words are integers; beside them stands a `text` in the machine's own base. Times are whole
nanoseconds. There is no colour, whatever `--color` says. Bad input is told by an object `errors/1` on
standard error, and nothing is printed on standard output.

This page is made from the declarations beside the commands, and tests hold the output of each to it."""
_REGISTRY: dict[str, "Schema"] = {}


@frozen
class Schema:
    """A versioned kind of object: its name (``run/1``), what it is, and its fields but ``schema``."""

    name: str
    purpose: str
    fields: Mapping[str, Any]


def declare_schema(name: str, purpose: str, fields: Mapping[str, Any]) -> Schema:
    """Declare a schema once, beside the command that prints it."""
    if name in _REGISTRY:
        raise ValueError(f"schema {name!r} is declared twice")
    schema = _REGISTRY[name] = Schema(name, purpose, fields)
    return schema


def declared_schemas() -> dict[str, Schema]:
    """Return every schema declared by the modules imported so far, by name."""
    return dict(sorted(_REGISTRY.items()))


def mismatches(shape: Shape, value: Any, path: str = "") -> Iterator[str]:
    """Yield where a value is not of a shape."""
    if isinstance(shape, str):
        yield from _leaf(shape, value, path)
    elif isinstance(shape, list):
        if not isinstance(value, list):
            yield f"{path}: a list is needed"
            return
        for number, item in enumerate(value):
            yield from mismatches(shape[0], item, f"{path}[{number}]")
    else:
        yield from _object(shape, value, path)


def _leaf(shape: str, value: Any, path: str) -> Iterator[str]:
    kind = shape.partition(":")[0]
    if value is None:
        if not kind.endswith("?"):
            yield f"{path}: null where {kind} is needed"
        return
    wanted = _TYPES[kind.removesuffix("?")]
    wrong_bool = isinstance(value, bool) and bool not in wanted and object not in wanted
    if wrong_bool or not isinstance(value, wanted):
        yield f"{path}: {type(value).__name__} where {kind} is needed"


def _object(shape: Mapping[str, Any], value: Any, path: str) -> Iterator[str]:
    if not isinstance(value, dict):
        yield f"{path}: an object is needed"
        return
    if "*" in shape:
        for key, item in value.items():
            yield from mismatches(shape["*"], item, f"{path}.{key}")
        return
    fields = {key.removesuffix("?"): inner for key, inner in shape.items()}
    needed = {key for key in shape if not key.endswith("?")}
    for key in sorted(needed - set(value)):
        yield f"{path}.{key}: missing"
    for key, item in value.items():
        if key in fields:
            yield from mismatches(fields[key], item, f"{path}.{key}")
        else:
            yield f"{path}.{key}: not in the schema"


def check_against(schema: Schema, value: Any) -> tuple[str, ...]:
    """Return what is wrong with a whole printed object, ``schema`` included."""
    return tuple(mismatches({"schema": "text: ", **schema.fields}, value, schema.name))


def schema_page() -> str:
    """Return the reference page of every schema declared so far, as Markdown."""
    lines = [_INTRODUCTION]
    for schema in declared_schemas().values():
        lines += [
            "",
            f"## {schema.name}",
            "",
            schema.purpose,
            "",
            "| key | type | meaning |",
            "|---|---|---|",
        ]
        lines += ["| `schema` | text | `" + schema.name + "` |", *_rows(schema.fields, "")]
    return "\n".join(lines) + "\n"


def _rows(shape: Mapping[str, Any], path: str) -> Iterator[str]:
    for key, inner in shape.items():
        name = f"{path}{'NAME' if key == '*' else key.removesuffix('?')}"
        maybe = " (may be missing)" if key.endswith("?") else ""
        item = inner
        while isinstance(item, list):
            name, item = f"{name}[]", item[0]
        if isinstance(item, str):
            kind, _, meaning = item.partition(":")
            shown = f"{kind[:-1]} or null" if kind.endswith("?") else kind
            yield f"| `{name}` | {shown} | {meaning.strip()}{maybe} |"
        else:
            yield from _rows(item, f"{name}.")

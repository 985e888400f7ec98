"""Problems as objects: for scripts (``errors/1``) and, with ranges as editors count, ``check/1``."""

from collections.abc import Iterable, Mapping

from emu.errors import Problem
from emu.where import Place
from faults.cli.schemas import declare_schema

ERRORS = declare_schema(
    "errors/1",
    "Bad input, on standard error, when `--json` was given. Lines and columns count from 1; 0 is not known.",
    {
        "errors": [
            {
                "code": "text: stable error code; its page is in errors.md",
                "severity": "text: error or warning",
                "message": "text: the rule and what was given",
                "file": "text: file",
                "line": "int: line",
                "column": "int: column, in characters",
                "length": "int: characters to underline",
                "hint": "text: the nearest right thing, or empty",
            }
        ],
        "dropped": "int: problems beyond those listed",
    },
)
CHECK = declare_schema(
    "check/1",
    "`corewright assemble --check --json`: errors and warnings for editors. Lines and characters count "
    "from 0, and characters are UTF-16 code units, as the Language Server Protocol 3.17 has it.",
    {
        "diagnostics": [
            {
                "file": "text: file",
                "range": {
                    "start": {"line": "int: line", "character": "int: first UTF-16 unit"},
                    "end": {"line": "int: line", "character": "int: UTF-16 unit after the last"},
                },
                "severity": "int: 1 error, 2 warning",
                "code": "text: stable error code",
                "source": "text: always corewright",
                "message": "text: what is wrong, with the hint on a line of its own",
                "relatedInformation": [
                    {
                        "location": {
                            "file": "text: file",
                            "range": {
                                "start": {"line": "int: line", "character": "int: first UTF-16 unit"},
                                "end": {"line": "int: line", "character": "int: UTF-16 unit after the last"},
                            },
                        },
                        "message": "text: what the other place has to do with it",
                    }
                ],
            }
        ]
    },
)


def problem_json(problem: Problem) -> Mapping[str, object]:
    """Return one entry of ``errors/1``."""
    place = problem.place
    return {
        "code": problem.code.slug,
        "severity": problem.severity,
        "message": problem.message,
        "file": place.file,
        "line": place.line,
        "column": place.column,
        "length": place.length,
        "hint": problem.hint,
    }


def diagnostics(problems: Iterable[Problem]) -> Mapping[str, object]:
    """Return what schema ``check/1`` holds."""
    return {"diagnostics": [_diagnostic(problem) for problem in problems]}


def _diagnostic(problem: Problem) -> Mapping[str, object]:
    message = f"{problem.message}\n{problem.hint}" if problem.hint else problem.message
    return {
        "file": problem.place.file,
        "range": _range(problem.place, problem.source_line),
        "severity": 1 if problem.severity == "error" else 2,
        "code": problem.code.slug,
        "source": "corewright",
        "message": message,
        "relatedInformation": [
            {"location": {"file": n.place.file, "range": _range(n.place, "")}, "message": n.text}
            for n in problem.notes
        ],
    }


def _range(place: Place, line: str) -> Mapping[str, Mapping[str, int]]:
    row, first = max(place.line - 1, 0), max(place.column - 1, 0)
    start, end = _units(line, first), _units(line, first + place.length)
    return {"start": {"line": row, "character": start}, "end": {"line": row, "character": end}}


def _units(line: str, characters: int) -> int:
    """Return UTF-16 code units of the first characters of a line, one each beyond what is known of it."""
    return characters + sum(ord(c) > 0xFFFF for c in line[:characters])

"""``corewright info``."""

import os
import platform
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Final

import click

from emu.shipped import machine_names, programs_folder
from faults.cli.exits import Exit
from faults.cli.options import color_option, json_option, print_json, quiet_option, use_colour
from faults.cli.schemas import declare_schema

PACKAGES: Final = ("numpy", "attrs", "click", "numba", "distributed")
FORMATS: Final = ("machine/1", "board/1", "case/1", "dictionary/1")

SCHEMA = declare_schema(
    "info/1",
    "`corewright info --json`: versions, formats, folders and what is installed.",
    {
        "version": "text: of Corewright",
        "formats": ["text: a file format and its version"],
        "python": "text: version of Python",
        "system": "text: operating system",
        "cores": "int: processor cores that may be used",
        "packages": {"*": "text?: version, or null where it is not installed"},
        "engine": "text: of long runs: compiled if numba is there, else generated",
        "machines": ["text: shipped machines"],
        "folders": {
            "package": "text: where the program is",
            "programs": "text: where the shipped programs are",
            "cache": "text: where compiled engines are kept",
        },
    },
)


def own_version() -> str:
    """Return the version of Corewright; of a checkout that was never installed, ``0+checkout``."""
    return _version("corewright") or "0+checkout"


def _version(name: str) -> str | None:
    try:
        return version(name)
    except PackageNotFoundError:
        return None


def version_line() -> str:
    """Return what ``--version`` prints."""
    return f"corewright {own_version()} (formats: {', '.join(FORMATS)})"


def _facts() -> dict[str, object]:
    from emu.engine.compiled import cache_folder, have_numba  # noqa: PLC0415 - --version does not need it

    # the package's own place, without importing anything heavy
    package = Path(__file__).resolve().parents[2]
    return {
        "version": own_version(),
        "formats": list(FORMATS),
        "python": platform.python_version(),
        "system": platform.platform(terse=True),
        "cores": len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1,
        "packages": {name: _version(name) for name in PACKAGES},
        "engine": "compiled" if have_numba() else "generated",
        "machines": list(machine_names()),
        "folders": {
            "package": str(package),
            "programs": str(programs_folder()),
            "cache": str(cache_folder()),
        },
    }


@click.command(epilog="Example: corewright info --json")
@json_option
@quiet_option
@color_option
def command(as_json: bool, quiet: bool, color: str) -> int:
    """Show versions, formats, folders and what is installed."""
    del quiet
    facts = _facts()
    if as_json:
        print_json(SCHEMA.name, facts)
        return Exit.DONE
    from faults.cli.writer import Writer  # noqa: PLC0415 - --version does not need it

    writer = Writer(use_colour(color))
    for label, value in facts.items():
        if isinstance(value, dict):
            for name, inner in value.items():
                writer.labelled(name, inner or "not installed", whole=label == "folders")
        else:
            writer.labelled(label, ", ".join(value) if isinstance(value, list) else str(value))
    if facts["engine"] != "compiled":
        writer.line()
        writer.paragraph(
            "Without numba every command works, but campaigns are slow: pip install 'corewright[fast]'."
        )
    return Exit.DONE

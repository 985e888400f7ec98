"""The directions of imports, the size of modules and functions, and who may print, exit or read what.

The rules are those of DEVELOPERS.md; each is checked on the parsed sources, so that a new module is held too.
"""

import ast
import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FILES = {
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
    for package in ("emu", "faults")
    for path in sorted((ROOT / package).rglob("*.py"))
    if "_programs" not in path.parts
}
MODULES = sorted(FILES)

# Layers from the bottom up: a module may import its own layer and those below. A name stands for itself and for what
# lies inside it; the longest name that fits counts.
LAYERS = [
    {"emu", "emu.where", "emu.errors", "emu.words"},
    {"emu.tomlplaces", "emu.tomladvice", "emu.codes", "emu.gates", "emu.rules"},
    {"emu.tomlfile", "emu.image"},
    {"emu.behaviour", "emu.schema", "emu.storedword"},
    {"emu.spec", "emu.fromtoml", "emu.encode"},
    {
        "emu.machinefile",
        "emu.crosscheck",
        "emu.crossrules",
        "emu.storerules",
        "emu.memory",
        "emu.compose",
        "emu.record",
    },
    {"emu.load", "emu.assemble", "emu.files", "emu.shipped", "emu.inputs", "emu.machinepage"},
    {"emu.engine"},
    {"faults", "faults.counts", "faults.rates"},
    {"faults.sites", "faults.march.notation", "faults.march"},
    {"faults.boards", "faults.fault", "faults.effects", "faults.gatetext", "faults.exact"},
    {"faults.kinds"},
    {"faults.notation", "faults.lower", "faults.universe", "faults.symptoms", "faults.pattern"},
]
MOST_LINES = 600
MOST_FUNCTION_LINES = 60
BAD_NAMES = {"util", "utils", "helpers", "helper", "common", "manager", "misc"}
PURE = {"faults.match", "faults.nextstep"}
DOING_IO = {
    "pathlib",
    "os",
    "io",
    "shutil",
    "subprocess",
    "socket",
    "tempfile",
    "importlib.resources",
    "tomllib",
}


@cache
def tree(module):
    return ast.parse(FILES[module].read_text(encoding="utf-8"))


def is_package(module):
    return FILES[module].name == "__init__.py"


def in_functions(module):
    """Every node that runs only when a function is called."""
    functions = [n for n in ast.walk(tree(module)) if isinstance(n, ast.FunctionDef | ast.Lambda)]
    return {id(inner) for function in functions for inner in ast.walk(function)}


@cache
def imports(module, *, when_loaded=False):
    """Every module that a module names in an import, as full names; also those inside functions, or not."""
    found = set()
    left_out = in_functions(module) if when_loaded else set()
    for node in ast.walk(tree(module)):
        if id(node) in left_out:
            continue
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module} imports by a relative name"
            inner = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= inner & set(FILES)
            if inner - set(FILES):
                found.add(str(node.module))
    return frozenset(found)


@cache
def reached(module, *, when_loaded=False):
    """Every module of ours that a module brings in, itself included."""
    seen, open_ = set(), {module}
    while open_:
        name = open_.pop()
        if name in FILES and name not in seen:
            seen.add(name)
            open_ |= imports(name, when_loaded=when_loaded) & set(FILES)
    return frozenset(seen)


def layer(module):
    """The number of a module's layer, or None for those above all layers."""
    parts = module.split(".")
    for length in range(len(parts), 0, -1):
        name = ".".join(parts[:length])
        for number, names in enumerate(LAYERS):
            if name in names and (length > 1 or len(parts) == 1):
                return number
    return None


def test_the_walk_finds_the_code():
    assert len(FILES) > 60
    assert {"emu.words", "emu.engine.walker", "faults.cli", "faults.pattern.law"} <= set(FILES)
    assert "emu.errors" in imports("emu.load")


def violations(found):
    """The list that a test compares with none, so that a failure shows every violation at once."""
    return sorted(set(found))


def test_layers():
    def found():
        for module in MODULES:
            mine = layer(module)
            for name in imports(module) & set(FILES) if mine is not None else ():
                theirs = layer(name)
                if theirs is None or theirs > mine:
                    yield f"{module} (layer {mine}) imports {name} (layer {theirs})"

    assert violations(found()) == []


def test_every_module_of_emu_has_a_layer():
    assert [m for m in MODULES if m.startswith("emu") and layer(m) is None] == []


def test_there_is_no_circle():
    # a registry may import what registers itself, but only when it is asked
    def found():
        for module in MODULES:
            for name in (imports(module, when_loaded=True) & set(FILES)) - {module}:
                if module in reached(name, when_loaded=True):
                    yield f"{module} and {name} import each other"

    assert violations(found()) == []


def test_emu_never_imports_faults():
    assert (
        violations(
            f"{m} imports {n}"
            for m in MODULES
            if m.startswith("emu")
            for n in imports(m)
            if n.split(".")[0] == "faults"
        )
        == []
    )


def importers_of(name):
    return {m for m in MODULES if any(n == name or n.startswith(f"{name}.") for n in imports(m))}


def test_only_the_compiled_engine_imports_numba():
    assert importers_of("numba") <= {"emu.engine.compiled"}


def test_only_the_reader_of_toml_reads_toml():
    # places are looked up for the reader, with the standard library's own reading of a single quoted key
    assert importers_of("tomllib") == {"emu.tomlfile", "emu.tomlplaces"}
    assert importers_of("emu.tomlplaces") == {"emu.tomlfile"}


def test_only_the_command_line_imports_click():
    assert violations(m for m in importers_of("click") if not m.startswith("faults.cli")) == []


def test_nothing_imports_the_command_line():
    assert violations(m for m in importers_of("faults.cli") if not m.startswith("faults.cli")) == []


def test_only_the_command_line_prints_or_exits():
    def found():
        for module in MODULES:
            if module.startswith("faults.cli"):
                continue
            nodes = list(ast.walk(tree(module)))
            names = {n.id for n in nodes if isinstance(n, ast.Name)}
            calls = {ast.unparse(n.func) for n in nodes if isinstance(n, ast.Call)}
            bad = names & {"print", "SystemExit", "exit", "quit", "input"}
            bad |= calls & {"sys.exit", "os._exit", "sys.stdout.write", "sys.stderr.write"}
            yield from (f"{module} uses {name}" for name in bad)

    assert violations(found()) == []


@pytest.mark.parametrize("module", sorted(PURE))
def test_match_and_nextstep_import_no_engine_and_do_no_io(module):
    def found():
        for name in reached(module):
            if name.startswith("emu.engine"):
                yield f"brings in {name}"
            if not name.startswith("faults."):
                continue
            calls = {ast.unparse(n.func) for n in ast.walk(tree(name)) if isinstance(n, ast.Call)}
            if imports(name) & DOING_IO or "open" in calls:
                yield f"brings in {name}, which does I/O"

    assert violations(found()) == []


def test_report_runs_nothing():
    running = ("emu.engine", "emu.load", "emu.assemble", "faults.campaign", "faults.account")
    assert (
        violations(
            f"{m} imports {n}"
            for m in MODULES
            if m.startswith("faults.report")
            for n in imports(m)
            if n.startswith(running)
        )
        == []
    )


def test_no_imports_for_types_only():
    assert violations(m for m in MODULES if "TYPE_CHECKING" in FILES[m].read_text(encoding="utf-8")) == []


def test_no_module_is_a_drawer():
    assert violations(m for m in MODULES if set(m.split(".")) & BAD_NAMES) == []


def test_no_module_is_too_long():
    sizes = {m: len(FILES[m].read_text(encoding="utf-8").splitlines()) for m in MODULES}
    assert {m: size for m, size in sizes.items() if size > MOST_LINES} == {}


def test_functions_are_short():
    lengths = {}
    for module in MODULES:
        for node in ast.walk(tree(module)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                lengths[f"{module}.{node.name}:{node.lineno}"] = (node.end_lineno or 0) - node.lineno + 1
    assert {name: lines for name, lines in lengths.items() if lines > MOST_FUNCTION_LINES} == {}


def test_every_module_says_what_it_is():
    assert violations(m for m in MODULES if not re.search(r"\w", ast.get_docstring(tree(m)) or "")) == []

"""The compiled engine: loads the generated module of a machine, compiled by numba when it is there.

Without numba the same generated functions run as plain Python, over lists. The only module (beside the
generated ones) that imports numba.
"""

import hashlib
import importlib.util
import linecache
import os
import platform
import sys
import tempfile
from collections import OrderedDict
from collections.abc import Callable
from importlib.machinery import ModuleSpec
from pathlib import Path
from types import ModuleType
from typing import Any, Final

import numpy as np
from attrs import Factory, define, field

from emu.engine import noting, planned
from emu.engine.contract import RunRequest, RunResult
from emu.engine.fixes import fix_tables
from emu.engine.generate import module_text
from emu.engine.layout import EVENT_FIELDS, Layout
from emu.engine.pack import (
    FOREVER,
    PackedPlan,
    PlanArrays,
    decoding,
    first_cells,
    first_state,
    of_the_plan,
    offered_inputs,
    result_of,
    shapes_array,
)
from emu.engine.variants import Variant
from emu.gates import DRAW_FORMAT, draw
from emu.memory import MemoryPlan
from emu.spec import MachineSpec

SLICE_STEPS: Final = 20_000_000  # between two looks at Ctrl-C
_FIRST_ROOM: Final = 4096
_KEPT_MACHINES: Final = 16
_GOLD, _FIRST, _SECOND = -0x61C8864680B583EB, -0x40A7B892E31B1A47, -0x6B2FB644ECCEEE15  # as signed numbers
_FILE: Final = "corewright_{digest}"


def have_numba() -> bool:
    """Return whether numba can be imported."""
    return importlib.util.find_spec("numba") is not None


def cache_folder() -> Path:
    """Return the folder for generated modules: ``XDG_CACHE_HOME`` or what the platform uses."""
    given = os.environ.get("XDG_CACHE_HOME")
    if given:
        return Path(given) / "corewright"
    if platform.system() == "Windows":
        return Path(os.environ.get("LOCALAPPDATA", str(Path.home()))) / "corewright" / "cache"
    if platform.system() == "Darwin":
        return Path.home() / "Library" / "Caches" / "corewright"
    return Path.home() / ".cache" / "corewright"


# --- what only compiled code has: 64-bit arithmetic that wraps, and one instruction that counts ones


def _mix_wrapping(cell: int, word: int) -> int:
    z = (word ^ (cell * _GOLD)) + _GOLD
    z = (z ^ ((z >> 30) & 0x3FFFFFFFF)) * _FIRST
    z = (z ^ ((z >> 27) & 0x1FFFFFFFFF)) * _SECOND
    return z ^ ((z >> 31) & 0x1FFFFFFFF)


def _draw_wrapping(seed: int, stream: int, index: int) -> int:
    z = seed ^ DRAW_FORMAT
    for part in (stream, index):
        z += _GOLD * (part + 1)
        z = (z ^ ((z >> 30) & 0x3FFFFFFFF)) * _FIRST
        z = (z ^ ((z >> 27) & 0x1FFFFFFFFF)) * _SECOND
        z ^= (z >> 31) & 0x1FFFFFFFF
    return z


def _natives() -> dict[str, Any]:
    """Return the names that compiled modules are given."""
    import numba  # noqa: PLC0415 - only when something is compiled
    from numba.core import types  # noqa: PLC0415
    from numba.extending import intrinsic  # noqa: PLC0415

    def ctpop(_typing: Any, word: Any) -> Any:  # noqa: ARG001 - numba calls it by name
        def code(_context: Any, builder: Any, _signature: Any, arguments: Any) -> Any:
            return builder.ctpop(arguments[0])

        return types.int64(types.int64), code

    bare: dict[str, Any] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}  # called by kernels only
    # no array is made in a kernel, so none need be counted; counting took nine tenths of the time
    plain: dict[str, Any] = {"nogil": True, "error_model": "numpy", "_nrt": False}
    inner = numba.njit(**plain, **bare)
    return {
        "kernel": numba.njit(**plain),
        "cached_kernel": numba.njit(**plain, cache=True),
        "inner": inner,
        "inlined": numba.njit(**plain, **bare, forceinline=True),
        "mix": inner(_mix_wrapping),
        "draw": inner(_draw_wrapping),
        "ctpop": intrinsic(ctpop),
    }


def _plain() -> dict[str, Any]:
    """Return the names that modules run as plain Python are given."""

    def as_it_is(function: Callable[..., Any]) -> Callable[..., Any]:
        return function

    return {
        "kernel": as_it_is, "cached_kernel": as_it_is, "inner": as_it_is, "inlined": as_it_is,
        "mix": planned.mix, "draw": draw, "ctpop": noting.ctpop,
    }  # fmt: skip


# --- loading


_NATIVES: dict[str, Any] = {}
_MODULES: dict[tuple[str, bool], ModuleType] = {}


def _module(text: str, *, jit: bool) -> ModuleType:
    """Return the module of that text; compiled functions come from the cache folder where it is writable."""
    own = Path(__file__).read_bytes() if jit else b""  # mix and draw are compiled into the kernels too
    digest = hashlib.blake2b(text.encode() + own, digest_size=16).hexdigest()
    key = digest, jit
    if key not in _MODULES:
        if jit and not _NATIVES:
            _NATIVES.update(_natives())
        given = dict(_NATIVES if jit else _plain())
        name = _FILE.format(digest=digest)
        path = _written(name, text) if jit else None
        if path is not None:
            given["kernel"] = given["cached_kernel"]
        _MODULES[key] = _executed(name, text, path, given)
    return _MODULES[key]


def _written(name: str, text: str) -> Path | None:
    """Return the file in the cache folder that holds the text, or None if it cannot be written."""
    path = cache_folder() / f"{name}.py"
    try:
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.parent.mkdir(parents=True, exist_ok=True)
            handle, temporary = tempfile.mkstemp(dir=path.parent, suffix=".part")
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text)
            Path(temporary).replace(path)
    except OSError:
        return None
    return path


def _executed(name: str, text: str, path: Path | None, given: dict[str, Any]) -> ModuleType:
    module = ModuleType(name)
    file = str(path) if path is not None else f"<{name}>"
    module.__file__ = file
    module.__spec__ = ModuleSpec(name, None, origin=file)
    vars(module).update(given)
    if path is None:
        linecache.cache[file] = (len(text), None, text.splitlines(keepends=True), file)
    sys.modules[name] = module  # numba finds the module of a cached function by its name
    exec(compile(text, file, "exec"), vars(module))  # noqa: S102 - made by emu.engine.generate from checked data
    return module


# --- a machine, and a run of it


@define(eq=False)
class CompiledMachine:
    """The generated functions of one machine, with everything that is the same for all its runs."""

    machine: MachineSpec
    jit: bool
    layout: Layout = field(init=False)
    module: ModuleType = field(init=False)
    _decoding: Any = field(init=False)
    _fixes: Any = field(init=False)
    _shapes: Any = field(init=False)
    _plans: dict[int, PlanArrays] = field(factory=dict)

    def __attrs_post_init__(self) -> None:
        self.layout = Layout(self.machine)
        self.module = _module(module_text(self.machine), jit=self.jit)
        self._decoding = self.form(decoding(self.machine))
        self._fixes = self.form(np.array([*fix_tables(self.machine)[1], 0], np.int64))
        self._shapes = self.form(shapes_array(self.layout))

    def form(self, array: Any) -> Any:
        """Return an array as compiled code wants it, or the list that plain Python works on."""
        return array if self.jit else array.tolist()

    def zeros(self, count: int, dtype: Any = np.int64) -> Any:
        """Return ``count`` zeros in that form."""
        return np.zeros(count, dtype) if self.jit else [0] * count

    def packed(self, plan: MemoryPlan) -> PackedPlan:
        """Return a plan in arrays that hold until the next call."""
        modes = len(plan.modes)
        if modes not in self._plans:
            self._plans[modes] = PlanArrays(self.layout, modes)
        return self._plans[modes].load(plan)

    def constants(self) -> tuple[Any, Any]:
        """Return the decoding table and the correction tables."""
        return self._decoding, self._fixes

    def plan_arguments(self, plan: MemoryPlan, variant: Variant) -> tuple[Any, ...]:
        """Return the arguments of a variant that say what the plan is."""
        packed = self.packed(plan)
        tables = (packed.ri, packed.rows, packed.mi, packed.masks, packed.wired)
        formed = (*(self.form(a) for a in tables), self._shapes)
        flagged = self.form(packed.fl), *formed
        if variant == "tables":
            return flagged
        rest = (packed.modes, packed.rules, packed.gates, packed.dwell, packed.bus)
        return (*flagged, *(self.form(a) for a in rest))

    def start(self, request: RunRequest) -> "CompiledRun":
        """Return the run of a request at power-up."""
        plan = request.plan.under(request.conditions) if request.plan is not None else None
        st = self.form(first_state(self.layout, request, plan))
        mem = self.form(first_cells(self.layout, request))
        return CompiledRun(self, request, plan, st, mem)


def variant_for(plan: MemoryPlan | None, *, trace: bool) -> Variant:
    """Return which function executes a plan whose conditions are settled."""
    if trace:
        return "trace"
    if plan is None or plan.healthy:
        return "healthy"
    mode = plan.modes[0]
    if plan.gates or mode.rules or len(mode.bus_moved):
        return "full"
    return "tables"


@define(eq=False)
class CompiledRun:
    """One run in progress; ``st`` and ``mem`` are its whole state, and may be copied as a snapshot.

    ``out`` holds (time, port, word) of every output so far, ``ev`` the events.
    """

    compiled: CompiledMachine
    request: RunRequest
    plan: MemoryPlan | None
    st: Any
    mem: Any
    out: Any = None
    ev: Any = None
    variant: Variant = field(init=False)
    constants: tuple[Any, ...] = field(init=False)
    _kernel: Callable[..., int] = field(init=False)
    _extra: tuple[Any, ...] = ()

    def __attrs_post_init__(self) -> None:
        compiled, plan = self.compiled, self.plan
        room = compiled.module.SITES + _FIRST_ROOM
        if self.out is None:
            self.out = compiled.zeros(3 * room)
        inputs = compiled.form(offered_inputs(compiled.layout, self.request))
        self.constants = (inputs, *compiled.constants())
        self._choose(variant_for(plan, trace=self.request.trace))
        if self.variant == "trace":
            self.ev = compiled.zeros(EVENT_FIELDS * room)
        if self.variant != "healthy":
            healthy = plan if plan is not None else identity_of(compiled.machine)
            self._extra = compiled.plan_arguments(healthy, self.variant)

    def _choose(self, variant: Variant) -> None:
        self.variant = variant
        self._kernel = getattr(self.compiled.module, f"run_{variant}")

    def note_into(self, arrays: tuple[Any, ...]) -> None:
        """Let a healthy run note what it does with every cell (``emu.engine.profile``)."""
        self._choose("profile")
        self._extra = arrays

    def apply_request(self) -> None:
        """Put into a restored state what depends on the plan and the seed, not on the past."""
        for name, value in of_the_plan(self.request, self.plan).items():
            self.st[self.place(name)] = value

    def place(self, name: str) -> int:
        """Return where a part of the state lies."""
        return self.compiled.layout.at[name]

    def compile_variant(self, variant: Variant) -> None:
        """Compile a function that executes plans, by executing no instruction of a healthy memory with it."""
        self._choose(variant)
        self._extra = self.compiled.plan_arguments(identity_of(self.compiled.machine), variant)
        self.advance(0)

    def advance(self, until_step: int = FOREVER) -> None:
        """Run to a stop, or to the boundary at which ``until_step`` instructions have been executed."""
        while not self.advance_slice(until_step):
            pass

    def advance_slice(self, until_step: int = FOREVER) -> bool:
        """Run for one slice; return whether the run has stopped or come to ``until_step``."""
        st = self.st
        done = int(st[self.place("STEPS")])
        st[self.place("SLICE")] = min(until_step, done + SLICE_STEPS)
        st[self.place("OUTPUT_ROOM")] = len(self.out) // 3
        extra = self._extra
        if self.variant == "trace":
            st[self.place("EVENT_ROOM")] = len(self.ev) // EVENT_FIELDS
            extra = (*extra, self.ev)
        if self._kernel(st, self.mem, self.out, *self.constants, *extra):
            self._grow()
            return False
        return bool(st[self.place("STOP")] or st[self.place("STEPS")] >= until_step)

    def _grow(self) -> None:
        """Double the lists of outputs and events."""
        zeros = self.compiled.zeros
        if self.compiled.jit:
            self.out = np.concatenate([self.out, zeros(len(self.out))])
            self.ev = np.concatenate([self.ev, zeros(len(self.ev))]) if self.ev is not None else None
        else:
            self.out += zeros(len(self.out))
            if self.ev is not None:
                self.ev += zeros(len(self.ev))

    def result(self) -> RunResult:
        """Return the result of a run that has stopped."""
        return result_of(
            self.compiled.layout, self.st, self.mem, self.out, [] if self.ev is None else self.ev
        )


def identity_of(machine: MachineSpec) -> MemoryPlan:
    """Return the plan of a healthy memory of a machine."""
    from emu.memory import identity_plan, shapes_of  # noqa: PLC0415

    return identity_plan(shapes_of(machine.stores))


_MACHINES: "OrderedDict[tuple[int, bool], CompiledMachine]" = OrderedDict()


def compiled_machine(machine: MachineSpec, *, jit: bool) -> CompiledMachine:
    """Return the generated functions of a machine, made once for every spec object."""
    key = id(machine), jit
    found = _MACHINES.get(key)
    if found is None or found.machine is not machine:
        found = _MACHINES[key] = CompiledMachine(machine, jit)
        while len(_MACHINES) > _KEPT_MACHINES:
            _MACHINES.popitem(last=False)
    return found


@define
class CompiledEngine:
    """The fast engine. ``jit`` False runs the generated functions as plain Python."""

    jit: bool = field(factory=have_numba)
    name: str = field(
        init=False, default=Factory(lambda self: "compiled" if self.jit else "generated", takes_self=True)
    )

    def run(self, request: RunRequest) -> RunResult:
        """Execute the request to its stop."""
        run = compiled_machine(request.machine, jit=self.jit).start(request)
        run.advance()
        return run.result()

"""Everything that Railwright asks of numba beyond its documented decorator, in one place.

Two kinds of functions are compiled. *Inner* ones (`compiled`, `inlined`) are called by other compiled
functions alone. *Entries* (`compile_kept`) are called by Python: each has one signature, and its code is kept
on disk. Called wrongly, both raise instead of ending the process: an inner one raises TypeError whenever
Python calls it, an entry where an argument is of another type than its signature's; that sizes fit together
an entry checks itself, as its first step.

numba promises little of this from one version to the next. `tests/test_compilation.py` has one test for each
trick; it names the trick that an upgrade broke.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable, Iterable, Sequence
from functools import cache
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any, TypeVar, cast

import numba
from numba.core import config, errors, event
from numba.core.compiler_lock import global_compiler_lock
from numba.core.registry import CPUDispatcher
from numba.core.runtime import rtsys
from numba.core.targetconfig import ConfigStack

from railwright.compiled_cache import folder_for, say_compiling

Function = TypeVar("Function", bound=Callable[..., object])

BLAS = "scipy.linalg.cython_blas"

FLOAT, INTEGER, FLAG = numba.float64, numba.int64, numba.boolean
VECTOR, MATRIX = FLOAT[::1], FLOAT[:, ::1]
INTEGERS, INTEGER_MATRIX = INTEGER[::1], INTEGER[:, ::1]
GIVEN = numba.types.Array(FLOAT, 1, "C", readonly=True)
"""A vector that is only read: also one that must not be written to."""
GIVEN_FLAGS = numba.types.Array(FLAG, 1, "C", readonly=True)


def fields(of: type[tuple[Any, ...]], *each: Any) -> Any:
    """The type of a NamedTuple whose fields have these types."""
    return numba.types.NamedTuple(each, of)


def _load_numba_without_blas() -> None:
    """Import numba's array support without scipy's linear algebra, which nothing compiled here uses.

    numba imports it only to see whether it is there, and that takes a third of the time to a first result.
    """
    if BLAS in sys.modules or "numba.np.arraymath" in sys.modules:
        return
    modules: dict[str, ModuleType | None] = sys.modules  # type: ignore[assignment]
    modules[BLAS] = None  # an import of it now raises ImportError
    try:
        importlib.import_module("numba.np.arraymath")
    finally:
        del modules[BLAS]


_load_numba_without_blas()


class _Inner(CPUDispatcher):  # type: ignore[misc]
    """A function that compiled code calls."""

    def __call__(self, *args: object, **options: object) -> object:
        """Raise TypeError: numba would jump to the address of a way in that was not compiled (0)."""
        raise TypeError(
            f"{self.__name__} is called from compiled code alone; .py_func is the function as it is written"
        )

    def get_call_template(self, args: Any, kws: Any) -> Any:
        """What numba asks when it finds a call of this function. Raises where a caller that counts references
        would be given an array: it would let go of what was never given to it, and the process would crash.
        """
        template = super().get_call_template(args, kws)
        caller = ConfigStack.top_or_none()
        if caller is not None and caller.nrt:
            for signature in template[0].cases:
                if self.targetctx.data_model_manager[signature.return_type].contains_nrt_meminfo():
                    raise errors.TypingError(
                        f"{self.__name__} returns an array: no entry may call it, only inner functions may"
                    )
        return template


class _Entry(CPUDispatcher):  # type: ignore[misc]
    """A function that Python calls, with one signature."""

    takes: Sequence[Any]

    def __call__(self, *args: object) -> object:
        """Compile at the first call. Raises TypeError where an argument is of another type than declared."""
        self._prepare()
        try:
            return super().__call__(*args)
        except TypeError as error:
            raise TypeError(f"{self.__name__}: {self._misfit(args) or error}") from None

    def get_call_template(self, args: Any, kws: Any) -> Any:
        """What numba asks when it finds a call of this function."""
        self._prepare()
        return super().get_call_template(args, kws)

    def _prepare(self) -> None:
        """Compile the one signature there is, or take it from disk; by numba's lock one thread does."""
        if self._can_compile:
            with global_compiler_lock:
                if self._can_compile:
                    if not self._kept():
                        self.compile(tuple(self.takes))
                    self.disable_compile()

    def _kept(self) -> bool:
        """Whether its code was kept on disk; it is loaded then.

        numba does the same, but first has its compiler take in all that can be compiled: of what is compiled
        already only the runtime is wanted, and the rest takes a tenth of a command's time.
        """
        signature = tuple(self.takes)
        rtsys.initialize(self.targetctx)
        with self._cache._guard_against_spurious_io_errors():
            found = self._cache._load_overload(signature, self.targetctx)
            if found is not None:
                self._cache_hits[signature] += 1
                self.targetctx.insert_user_function(found.entry_point, found.fndesc, [found.library])
                self.add_overload(found)
                return True
        return False

    def _misfit(self, args: Sequence[object]) -> str | None:
        """The first argument that does not fit the signature, for people; None: all of them do."""
        names = self.py_func.__code__.co_varnames
        parts = zip(names, self.takes, args, strict=False)
        found = (_misfit(name, kind, part, self.typingctx) for name, kind, part in parts)
        return next(filter(None, found), None)


def _misfit(name: str, wanted: Any, value: object, typing: Any) -> str | None:
    try:
        given = numba.typeof(value)
    except ValueError:
        return f"expected {name} as {wanted}, got {type(value).__name__}"
    if typing.can_convert(given, wanted) is not None:
        return None
    if isinstance(wanted, numba.types.NamedTuple) and isinstance(value, wanted.instance_class):
        parts = zip(wanted.fields, wanted.types, cast(Sequence[object], value), strict=True)
        found = (_misfit(f"{name}.{field}", kind, part, typing) for field, kind, part in parts)
        return next(filter(None, found), None)
    return f"expected {name} as {wanted}, got {given}"


_INNER: Any = {
    "error_model": "numpy",
    "_nrt": False,
    "no_cpython_wrapper": True,
    "no_cfunc_wrapper": True,
}


def compiled(function: Function) -> Function:
    """Compile for use inside other compiled functions; division by zero gives inf, as the solver expects.

    Arrays come from the caller, which keeps them alive, and none is made: without numba's counting of
    references (`_nrt`) the equations take half the time. Python cannot call it: without the ways in from
    Python and C, which hand every array over in parts, all of it compiles a quarter faster.
    """
    return cast(Function, _as(_Inner, numba.njit(**_INNER)(function)))


def inlined(function: Function) -> Function:
    """The same for what a step calls again and again: put in where it is called, without the price of a call,
    which hands every array over with its whole description.
    """
    return cast(Function, _as(_Inner, numba.njit(forceinline=True, **_INNER)(function)))


def with_way_in(function: Any) -> Callable[..., Any]:
    """An inner function compiled once more so that Python can call it: for looking at an equation alone.

    It raises IndexError beyond an array's end, but what it calls in turn checks nothing.
    """
    made = numba.njit(error_model="numpy", boundscheck=True, _nrt=False)(function.py_func)
    return cast(Callable[..., Any], made)


def compile_kept(
    function: Function, takes: Sequence[Any], name: str, sources: Iterable[Path], seconds: float | None = None
) -> Function:
    """Compile a function that Python calls, at its first call, and keep the result on disk.

    It releases the interpreter's lock: several may run in threads, each on its own arrays. takes: the types
    of its arguments. name: of the folder among those of other compiled code. seconds: about how long it takes
    to compile; None: too short to be announced.
    """
    if seconds is not None:
        _listen()
        _seconds[function] = seconds
    settings: Any = config
    before = settings.CACHE_DIR
    settings.CACHE_DIR = str(folder_for(name, numba.__version__, [*sources, Path(__file__)]))
    try:
        made = numba.njit(error_model="numpy", cache=True, nogil=True)(function)
    finally:
        settings.CACHE_DIR = before
    entry: Any = _as(_Entry, made)
    entry.takes = tuple(takes)
    return cast(Function, entry)


def _as(kind: type[CPUDispatcher], made: Any) -> Any:
    """The function that numba has made, as one of our own kinds; a plain one where numba does not compile."""
    if isinstance(made, CPUDispatcher):
        made.__class__ = kind
    return made


_seconds: dict[object, float] = {}
"""Function as it is written -> about how long it takes to compile [s], where somebody should hear of it."""


class _Listener(event.Listener):  # type: ignore[misc]
    """Hears from numba when it compiles something that it has not found in its cache."""

    def on_start(self, compilation: Any) -> None:
        seconds = _seconds.get(compilation.data["dispatcher"].py_func)
        if seconds is not None:
            say_compiling(seconds)

    def on_end(self, compilation: Any) -> None:
        """Is not said."""


def _listen() -> None:
    if not _seconds:
        event.register("numba:compile", _Listener())


Compiler = Callable[[Callable[..., Any]], Callable[..., Any]]


@cache
def with_callees(function: Callable[..., Any], how: Compiler) -> Callable[..., Any]:
    """Compile a plain function, with the plain functions of its own module that it calls: numba only compiles
    calls of what is compiled itself, so it is given the same code with these among its globals.
    """
    if not isinstance(function, FunctionType):
        return how(function)
    known = function.__globals__
    called = {
        name: with_callees(known[name], how)
        for name in function.__code__.co_names
        if isinstance(known.get(name), FunctionType) and known[name].__module__ == function.__module__
    }
    if called:
        function = FunctionType(function.__code__, {**known, **called}, function.__name__)
    return how(function)

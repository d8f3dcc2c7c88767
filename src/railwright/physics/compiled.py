"""Compilation: numba's decorator with types, and a cache that no change of the equations can leave stale,
those of third parties' loads included.
"""

from __future__ import annotations

import importlib
import sys
from pathlib import Path
from types import ModuleType
from typing import Any, cast

import numba

from railwright.compiled_cache import Function, compile_kept
from railwright.physics.loads import KINDS

BLAS = "scipy.linalg.cython_blas"

SECONDS = 20.0
"""About how long a function that Python calls takes to compile with all that it calls [s]."""


def _load_numba_without_blas() -> None:
    """Import numba's array support without scipy's linear algebra, which no equation here uses.

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

_OPTIONS: Any = {
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
    return cast(Function, numba.njit(**_OPTIONS)(function))


def inlined(function: Function) -> Function:
    """The same for what a step calls again and again: put in where it is called, without the price of a call,
    which hands every array over with its whole description.
    """
    return cast(Function, numba.njit(forceinline=True, **_OPTIONS)(function))


def compiled_entry(function: Function) -> Function:
    """Compile a function that Python calls, with everything it calls in turn, and keep the result on disk.

    It releases the interpreter's lock: several may run in threads, each on its own arrays. It counts
    references, so it must not call a compiled function that returns an array: it would let go of it twice.
    """
    return compile_kept(function, "compiled", sources(), seconds=SECONDS)


def sources() -> list[Path]:
    """Every source file of the compiled code."""
    here = Path(__file__).parent
    loads = [Path(str(kind.equations.__file__)) for kind in KINDS.values()]
    return sorted({*here.glob("*.py"), *(here / "loads").glob("*.py"), *loads})

"""Compilation: numba's decorator with types, and a cache that no change of the equations can leave stale.

The cache folder's name holds a hash of every source that goes into the compiled code, the loads of third
parties included. It lies in RAILWRIGHT_CACHE where that is set, else in the user's cache folder.
"""

from __future__ import annotations

import hashlib
import importlib
import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any, TypeVar, cast

import numba
from numba.core import config as numba_config

from railwright.physics.loads import KINDS

BLAS = "scipy.linalg.cython_blas"


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

Function = TypeVar("Function", bound=Callable[..., object])
_config: Any = numba_config
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
    before = _config.CACHE_DIR
    _config.CACHE_DIR = str(cache_folder())
    try:
        return cast(Function, numba.njit(error_model="numpy", cache=True, nogil=True)(function))
    finally:
        _config.CACHE_DIR = before


def sources() -> list[Path]:
    """Every source file of the compiled code."""
    here = Path(__file__).parent
    loads = [Path(str(kind.equations.__file__)) for kind in KINDS.values()]
    return sorted({*here.glob("*.py"), *(here / "loads").glob("*.py"), *loads})


def cache_folder() -> Path:
    """Folder of the compiled code, made if need be; a temporary one where no other can be written."""
    digest = hashlib.sha256(numba.__version__.encode())
    for path in sources():
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    name = digest.hexdigest()[:16]
    base = os.environ.get("RAILWRIGHT_CACHE")
    user = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    folder = (Path(base) if base else Path(user) / "railwright") / "compiled" / name
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if os.access(folder, os.W_OK):
            return folder
    except OSError:
        pass
    return Path(tempfile.mkdtemp(prefix="railwright-"))

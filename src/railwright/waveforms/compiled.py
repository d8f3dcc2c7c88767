"""Compilation of the fits' inner loops: numba's decorator, and a cache that a change of them cannot leave
stale.

The cache folder's name holds a hash of the sources. It lies in RAILWRIGHT_CACHE where that is set, else in
the user's cache folder. Physics has its own: neither of the two layers may import the other.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
from numba.core import config as numba_config

Function = TypeVar("Function", bound=Callable[..., object])
_config: Any = numba_config


def compiled(function: Function) -> Function:
    """Compile at the first call, and keep the result on disk. It releases the interpreter's lock."""
    before = _config.CACHE_DIR
    _config.CACHE_DIR = str(_cache_folder())
    try:
        return cast(Function, numba.njit(error_model="numpy", cache=True, nogil=True)(function))
    finally:
        _config.CACHE_DIR = before


def _cache_folder() -> Path:
    """Folder of the compiled code, made if need be; a temporary one where no other can be written."""
    digest = hashlib.sha256(numba.__version__.encode())
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    base = os.environ.get("RAILWRIGHT_CACHE")
    user = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    folder = (Path(base) if base else Path(user) / "railwright") / "compiled-fit" / digest.hexdigest()[:16]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if os.access(folder, os.W_OK):
            return folder
    except OSError:
        pass
    return Path(tempfile.mkdtemp(prefix="railwright-"))

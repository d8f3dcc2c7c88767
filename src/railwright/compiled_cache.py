"""Compiled code kept on disk, in a folder that no change of its sources can leave stale.

The folder's name holds a hash of every source that goes into the compiled code. It lies in RAILWRIGHT_CACHE
where that is set, else in the user's cache folder as the platform has it.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar, cast

CACHE = "RAILWRIGHT_CACHE"
"""Names the folder for compiled code, where the user's cache folder is not to do."""

Function = TypeVar("Function", bound=Callable[..., object])


def compile_kept(function: Function, name: str, sources: Iterable[Path]) -> Function:
    """Compile a function that Python calls, at its first call, and keep the result on disk.

    It releases the interpreter's lock. name: of the folder among those of other compiled code.
    """
    import numba
    from numba.core import config

    settings: Any = config
    before = settings.CACHE_DIR
    settings.CACHE_DIR = str(_folder(name, numba.__version__, sources))
    try:
        return cast(Function, numba.njit(error_model="numpy", cache=True, nogil=True)(function))
    finally:
        settings.CACHE_DIR = before


def cache_folder() -> Path:
    """Where compiled code of every kind is kept; the folder need not be there."""
    given = os.environ.get(CACHE)
    if given:
        return Path(given)
    from platformdirs import user_cache_path

    return user_cache_path("railwright", appauthor=False)


def _folder(name: str, version: str, sources: Iterable[Path]) -> Path:
    """The folder, made if need be; a temporary one where no other can be written."""
    digest = hashlib.sha256(version.encode())
    for path in sources:
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    folder = cache_folder() / name / digest.hexdigest()[:16]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if os.access(folder, os.W_OK):
            return folder
    except OSError:
        pass
    return Path(tempfile.mkdtemp(prefix="railwright-"))

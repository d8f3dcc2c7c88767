"""Compiled code kept on disk, in a folder that no change of its sources can leave stale.

The folder's name holds a hash of every source that goes into the compiled code. It lies in RAILWRIGHT_CACHE
where that is set, else in the user's cache folder as the platform has it. Whoever wants to tell a person why
nothing happens for a while hears of it before a function is compiled that takes long.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar, cast

CACHE = "RAILWRIGHT_CACHE"
"""Names the folder for compiled code, where the user's cache folder is not to do."""

Function = TypeVar("Function", bound=Callable[..., object])


_say: Callable[[str], object] | None = None
_seconds: dict[object, float] = {}
"""Function as it is written -> about how long it takes to compile [s], where somebody should hear of it."""


def announce(say: Callable[[str], object] | None) -> None:
    """Have `say` called with a line for people before a function is compiled that takes long; None: nobody.

    Never for what is in the cache. It is called in the thread that compiles.
    """
    global _say
    _say = say


def compile_kept(
    function: Function, name: str, sources: Iterable[Path], seconds: float | None = None
) -> Function:
    """Compile a function that Python calls, at its first call, and keep the result on disk.

    It releases the interpreter's lock. name: of the folder among those of other compiled code. seconds: about
    how long it takes to compile; None: too short to be announced.
    """
    import numba
    from numba.core import config

    if seconds is not None:
        _listen()
        _seconds[function] = seconds

    settings: Any = config
    before = settings.CACHE_DIR
    settings.CACHE_DIR = str(_folder(name, numba.__version__, sources))
    try:
        return cast(Function, numba.njit(error_model="numpy", cache=True, nogil=True)(function))
    finally:
        settings.CACHE_DIR = before


def _listen() -> None:
    """Hear from numba when it compiles something that it has not found in its cache."""
    from numba.core import event

    if _seconds:
        return

    class Listener(event.Listener):
        def on_start(self, compilation: Any) -> None:
            seconds = _seconds.get(compilation.data["dispatcher"].py_func)
            if seconds is not None and _say is not None:
                _say(f"compiling once, about {seconds:g} s")

        def on_end(self, compilation: Any) -> None:
            """Is not said."""

    event.register("numba:compile", Listener())  # type: ignore[no-untyped-call]


def cache_folder() -> Path:
    """Where compiled code of every kind is kept; the folder need not be there."""
    given = os.environ.get(CACHE)
    if given:
        return Path(given)
    from platformdirs import user_cache_path

    return user_cache_path("railwright", appauthor=False)


def _folder(name: str, version: str, sources: Iterable[Path]) -> Path:
    """The folder, made if need be; a temporary one where no other can be written."""
    import hashlib
    import tempfile

    digest = hashlib.sha256(version.encode())
    for path in sources:
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    folder = cache_folder() / name / digest.hexdigest()[:16]
    return folder if can_keep(folder) else Path(tempfile.mkdtemp(prefix="railwright-"))


def can_keep(folder: Path) -> bool:
    """Whether the folder, made if need be, can be written."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return False
    return os.access(folder, os.W_OK)

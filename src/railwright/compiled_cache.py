"""Where compiled code is kept: on disk, in a folder that no change of its sources can leave stale.

The folder's name holds a hash of every source that goes into the compiled code. It lies in RAILWRIGHT_CACHE
where that is set, else in the user's cache folder as the platform has it. Whoever wants to tell a person why
nothing happens for a while hears of it before a function is compiled that takes long.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from pathlib import Path

CACHE = "RAILWRIGHT_CACHE"
"""Names the folder for compiled code, where the user's cache folder is not to do."""

_say: Callable[[str], object] | None = None


def announce(say: Callable[[str], object] | None) -> None:
    """Have `say` called with a line for people before a function is compiled that takes long; None: nobody.

    Never for what is in the cache. It is called in the thread that compiles.
    """
    global _say
    _say = say


def say_compiling(seconds: float) -> None:
    """Tell whoever wants to hear of it that something is compiled that takes about so long [s]."""
    if _say is not None:
        _say(f"compiling once, about {seconds:g} s")


def cache_folder() -> Path:
    """Where compiled code of every kind is kept; the folder need not be there."""
    given = os.environ.get(CACHE)
    if given:
        return Path(given)
    from platformdirs import user_cache_path

    return user_cache_path("railwright", appauthor=False)


def folder_for(name: str, version: str, sources: Iterable[Path]) -> Path:
    """The folder for compiled code of this name, made if need be; a temporary one where no other can be
    written. version: of the compiler. sources: all that goes into the code.
    """
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

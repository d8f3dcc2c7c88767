"""`railwright warm-up`: what commands need compiled is compiled ahead of time."""

from __future__ import annotations

import time

from railwright.cli.arguments import Quiet
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit, say


def warm_up(quiet: Quiet = False) -> Exit:
    """Compile what commands need, ahead of time.

    Else the first command that needs it waits for it, after an installation or an update; later ones take it
    from the cache. RAILWRIGHT_CACHE names the cache's folder, where the user's own is not to do.
    """
    from railwright.compiled_cache import CACHE, cache_folder, can_keep

    folder, detail = cache_folder(), Detail(quiet)
    if not can_keep(folder):
        raise BadInput(f"{folder}: expected a folder that can be written; name another by {CACHE}")
    from railwright.physics import cases, simulation
    from railwright.waveforms import warm_up as fits

    for what, compiles in (
        ("solver", simulation.warm_up),
        ("solver of ensembles", cases.warm_up),
        ("point lists", fits.warm_up),
    ):
        begin = time.perf_counter()
        compiles()
        detail.say(f"{what}: ready after {time.perf_counter() - begin:.1f} s")
    say(f"compiled code: {folder}")
    return Exit.DONE

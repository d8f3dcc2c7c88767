"""What to write in a shape so that the host can time it, where nothing else does."""

from __future__ import annotations

import math
from collections.abc import Iterable

from railwright.plan.stairs import AT_ONCE, EXACT
from railwright.quantities import show
from railwright.settings.figures import round_down
from railwright.waveforms.shapes import CHORDS, Hold, Line, Piece, Ripple


def slower(pieces: Iterable[Piece], step: str, apart: float, closest: float) -> str:
    """The change of a step with which none of its set points comes sooner than the host keeps.

    pieces: of a shape, as `shapes.flat` gives them; those that say nothing of what to change are an
    exponential and what is switched off. step: its name. apart: shortest time between two set points that the
    host keeps [s]; closest: that is asked for [s].
    """
    changes: list[str] = []
    for piece in pieces:
        if isinstance(piece, Ripple):
            changes += _ripple(piece, step, apart)
        elif isinstance(piece, Hold | Line) and 0.0 < piece.duration < apart * (1.0 - EXACT):
            changes.append(f"make every hold and line of '{step}' {show(apart, 's')} or longer")
    if not changes:
        times = math.ceil(10.0 * apart / max(closest, AT_ONCE) * (1.0 - EXACT)) / 10.0
        changes.append(f"play '{step}' {times:g} times as slowly")
    return " and ".join(dict.fromkeys(changes))


def _ripple(piece: Ripple, step: str, apart: float) -> Iterable[str]:
    """The highest frequency, and the shortest edges, of a ripple that the host times: the lines in which it
    is played last so long at least, and no part of a period stands at its end.
    """
    edge, period = 0.0, CHORDS * apart
    if piece.form == "trapezoid":
        edge = max(piece.edge, 2.0 * apart) if piece.edge else 0.0  # half of one leads to the level
        period = 2.0 * (edge + apart)
    if edge > piece.edge * (1.0 + EXACT):
        yield f"give the ripple of '{step}' edges of {show(edge, 's')} or longer"
    if period * piece.frequency > 1.0 + EXACT:
        whole = math.floor(piece.duration / period * (1.0 + EXACT))
        most = round_down(whole / piece.duration if whole else 1.0 / period, 3)
        yield f"play the ripple of '{step}' at {show(most, 'Hz')} or less, in whole periods"

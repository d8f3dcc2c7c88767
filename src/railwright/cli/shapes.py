"""Shapes as they are asked and as the outputs play them: a table for people, and data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from railwright.cli.console import table
from railwright.quantities import show

if TYPE_CHECKING:
    from rich.table import Table

    from railwright.rehearsal.playback import PlayedShape
    from railwright.waveforms.deviation import Edge

COLUMNS = (
    "Step",
    "Input",
    "Largest deviation",
    "R.m.s.",
    "Edges asked",
    "Down",
    "Up",
    "Overshoot",
    "Off at the end",
)


SMALLEST = 1e-6
"""Differences of voltages below this are the solver's own [V]."""


def shapes_table(played: Sequence[PlayedShape]) -> Table:
    """Each shape of a rehearsal with its deviation and the worst of its edges (10 to 90 %)."""
    return table("Shapes, as played", COLUMNS, [_row(each) for each in played], right=COLUMNS[2:])


def _row(played: PlayedShape) -> tuple[str, ...]:
    whole, edges = played.whole, played.edges
    start = (
        played.span.name,
        played.input,
        f"{show(whole.largest, 'V')} at {show(whole.at, 's')}",
        show(whole.rms, "V"),
    )
    if not edges:
        return (*start, "none", "", "", "", "")
    asked = sorted({each.asked_duration for each in edges})
    said = (
        "at once" if asked[-1] == 0.0 else " .. ".join(dict.fromkeys(_time(t) for t in (asked[0], asked[-1])))
    )
    worst = max((each.error for each in edges), key=abs)
    return (
        *start,
        f"{len(edges)}{f' of {len(edges) + played.left_out}' if played.left_out else ''}, {said}",
        _worst([each for each in edges if each.asked.goal < each.asked.start]),
        _worst([each for each in edges if each.asked.goal > each.asked.start]),
        _overshoot(max((e.overshoot for e in edges if e.overshoot is not None), default=None)),
        show(worst if abs(worst) > SMALLEST else 0.0, "V"),
    )


def _time(seconds: float) -> str:
    return "at once" if seconds == 0.0 else show(seconds, "s")


def _overshoot(part: float | None) -> str:
    return "" if part is None else f"{part:.1%}"


def _got(edge: Edge) -> str:
    """Transition duration, and what keeps it from being one."""
    if edge.duration is None:
        return "no edge" if edge.reached else "not to 90 %"
    return f"{show(edge.duration, 's')}{'' if edge.settled else ', not settled'}"


def _worst(edges: Sequence[Edge]) -> str:
    """The worst of what became of edges: not reached, then the slowest, then none at all."""
    if not edges:
        return ""
    slowest = max(edges, key=lambda each: (not each.reached, each.duration or 0.0))
    settled = slowest.duration is None or all(each.settled for each in edges)
    return _got(replace(slowest, settled=settled))


EDGES_SHOWN = 40
"""Edges of one shape that are printed one by one; all of them are in the JSON."""


def edges_table(played: PlayedShape) -> Table:
    """Edge by edge: what was asked, what became of it (10 to 90 %), and how far its level is off."""
    on_again = {end for _, end in played.away}
    columns = ("At", "From", "To", "Asked", "Got", "Late (50 %)", "Overshoot", "Off at the end")
    rows = [
        (
            show(each.asked.time, "s"),
            "off" if each.asked.time in on_again else show(each.asked.start, "V"),
            show(each.asked.goal, "V"),
            _time(each.asked_duration),
            _got(each),
            "" if each.late is None else show(each.late, "s"),
            _overshoot(each.overshoot),
            show(each.error if abs(each.error) > SMALLEST else 0.0, "V"),
        )
        for each in played.edges[:EDGES_SHOWN]
    ]
    more = len(played.edges) + played.left_out - len(rows)
    title = f"Edges of '{played.span.name}' on {played.input}" + (f", the first {len(rows)}" if more else "")
    return table(title, columns, rows, right=columns)


def shapes_data(played: Sequence[PlayedShape]) -> list[dict[str, Any]]:
    """The same with every edge, in SI units; None: see `Edge`."""
    return [
        {
            "step": each.span.name,
            "input": each.input,
            "largest": each.whole.largest,
            "at": each.whole.at,
            "rms": each.whole.rms,
            "edges": [_edge(edge) for edge in each.edges],
            "edges_left_out": each.left_out,
        }
        for each in played
    ]


def _edge(edge: Edge) -> dict[str, float | bool | None]:
    asked = edge.asked
    return {
        "at": asked.time,
        "from": asked.start,
        "to": asked.goal,
        "asked_duration": edge.asked_duration,
        "before": edge.before,
        "after": edge.after,
        "settled": edge.settled,
        "reached": edge.reached,
        "duration": edge.duration,
        "late": edge.late,
        "overshoot": edge.overshoot,
        "error": edge.error,
    }

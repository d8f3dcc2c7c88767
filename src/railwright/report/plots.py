"""Figures of the steps: rehearsed and recorded traces over each other, with limits, events and modes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from railwright.report import overlay as lay
from railwright.report.drawing import as_svg, draw_step, drawing, event_words, save
from railwright.report.overlay import Overlay
from railwright.report.text import shortened
from railwright.traces import Span, span_named

INPUTS_A_FIGURE = 2


@dataclass(frozen=True, slots=True)
class StepFigure:
    """A drawn figure: SVG text with its key in it, and in words what it shows."""

    step: str
    kind: str
    inputs: tuple[str, ...]
    svg: str
    description: str


def step_figures(overlay: Overlay) -> tuple[StepFigure, ...]:
    """One figure for each step and each pair of its inputs, as SVG."""
    figures = []
    for span in lay.spans_to_draw(overlay.base):
        for first in range(0, len(span.inputs), INPUTS_A_FIGURE):
            names = span.inputs[first : first + INPUTS_A_FIGURE]
            events, left_out = lay.events_in(overlay, span, names)
            with drawing():
                svg = as_svg(draw_step(overlay, span, names, events, left_out))
            listed = "; ".join(event_words(n, event.time - span.start, event) for n, event in events)
            description = _description(overlay, span, names) + (f" Events: {listed}." if listed else "")
            figures.append(StepFigure(span.name, span.kind, names, svg, description))
    return tuple(figures)


def save_overview(overlay: Overlay, path: Path) -> None:
    """The whole procedure, every input, as one figure; SVG or PNG by the path's ending."""
    base = overlay.base
    spans = base.spans or (Span("whole record", "whole", *lay.extent(base), tuple(base.traces)),)
    names = tuple(name for name in overlay.inputs or tuple(base.traces) if name in base.traces)
    if not names:
        raise ValueError("expected a record with at least one input to plot, got an empty one")
    end = max(lay.extent(base)[1], max(span.end for span in spans))
    whole = Span("whole procedure", "whole", min(span.start for span in spans), end, names)
    with drawing():
        save(draw_step(overlay, whole, names, ()), path)


def save_step(overlay: Overlay, step: str, path: Path) -> None:
    """One named step, all its inputs, as SVG or PNG by the path's ending. KeyError: no such step."""
    span = span_named(lay.spans_to_draw(overlay.base), step)
    if span is None:
        raise KeyError(step)
    events, left_out = lay.events_in(overlay, span, span.inputs)
    with drawing():
        save(draw_step(overlay, span, span.inputs, events, left_out), path)


def _description(overlay: Overlay, span: Span, names: Sequence[str]) -> str:
    sources = {
        "rehearsed": overlay.rehearsal is not None,
        "read by the supply": overlay.measured is not None,
        "recorded externally": bool(overlay.external),
    }
    shown = ", ".join(word for word, there in sources.items() if there)
    inputs = ", ".join(shortened(name, 60) for name in names)
    return f"Voltage and current of {inputs} against time during {span.name}: {shown}."

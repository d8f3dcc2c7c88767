"""Labels in a figure that would stand on each other are moved apart, up or down."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Annotation
    from matplotlib.transforms import Bbox

APART = 0.4
"""Space between two labels [points]."""

ALONG = 0.8
"""Half of what a level's line takes of the height [points]."""

LEVEL = "level"
"""Mark of what stands for a level (matplotlib's group id): its line, and the hatching along it."""


def move_apart(figure: Figure) -> None:
    """Move every label that overlaps an earlier one of its panel, or a level, to the nearest free height in
    it.

    A label is an annotation on a ground of its own (`bbox`). Where a panel has no room beside its levels, a
    label stands on one; where it has none at all, the label is taken out: what it says stands in the key or
    in the results.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.text import Annotation

    canvas: Any = FigureCanvasAgg(figure)
    renderer = canvas.get_renderer()
    for axes in figure.axes:
        found = [each for each in axes.texts if isinstance(each, Annotation) and each.get_bbox_patch()]
        placed: list[Bbox] = []
        levels = _levels(axes, renderer, ALONG * figure.dpi / 72.0)
        for label in found:
            own = label.get_window_extent(renderer)
            move = _nearest(own, [*placed, *levels], axes, 72.0 / figure.dpi)
            if move is None:
                move = _nearest(own, placed, axes, 72.0 / figure.dpi)
            if move is None:
                label.remove()
                continue
            _shift(label, move)
            placed.append(own.translated(0.0, move * figure.dpi / 72.0))


def _levels(axes: Axes, renderer: Any, half: float) -> list[Bbox]:
    """Where the lines of levels, of twice `half` [pixels] in height, and the hatching along them lie."""
    from matplotlib.transforms import Bbox

    lines = [line.get_window_extent(renderer) for line in axes.lines if line.get_gid() == LEVEL]
    hatched = [patch.get_window_extent(renderer) for patch in axes.patches if patch.get_gid() == LEVEL]
    return [Bbox.from_extents(own.x0, own.y0 - half, own.x1, own.y1 + half) for own in lines] + hatched


def _nearest(own: Bbox, placed: list[Bbox], axes: Axes, point: float) -> float | None:
    """How far up to move a label [points] so that it is free of those that are placed, and in its panel;
    None: there is no place. point: points a pixel.
    """
    room = axes.get_window_extent()
    candidates = [0.0]
    for other in placed:
        gap = APART / point
        candidates += [other.y1 + gap - own.y0, other.y0 - gap - own.y1]
    for move in sorted(candidates, key=abs):
        moved = own.translated(0.0, move)
        inside = move == 0.0 or (moved.y0 >= room.y0 and moved.y1 <= room.y1)
        if inside and not any(moved.overlaps(other) for other in placed):
            return move * point
    return None


def _shift(label: Annotation, points: float) -> None:
    if points:
        x, y = label.xyann
        label.xyann = (x, y + points)

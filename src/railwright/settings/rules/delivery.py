"""Rules about how shapes reach the outputs: timed by the host, or by the outputs' own point lists."""

from __future__ import annotations

from collections.abc import Iterator

from railwright.quantities import show
from railwright.settings.context import Context
from railwright.settings.delivery import Delivery
from railwright.settings.findings import Severity
from railwright.settings.rule import Hit, Outcome, Path, rule


def _delivered(context: Context) -> Iterator[tuple[Delivery, Path, str]]:
    """Every delivery with where its shape is written, and its step's name."""
    for each in context.deliveries:
        shape = context.procedure.steps[each.step].shape
        inside = ("inputs", each.input) if shape is not None and shape.inputs is not None else ()
        path = ("procedure", "steps", each.step, "shape", *inside)
        yield each, path, context.timeline.spans[each.step].name


@rule("shape-not-served", Severity.CAUTION)
def shape_not_served(context: Context) -> Outcome:
    """Neither the host nor the outputs' own point list keeps a shape within 1 % of its span."""
    for each, path, name in _delivered(context):
        if not each.serves:
            yield Hit(
                each.input,
                path,
                f"'{name}' is played off by up to {show(each.error, 'V')}, {show(each.tolerance, 'V')} is "
                f"accepted: {each.why}",
                each.remedy,
            )


@rule("shape-by-list", Severity.NOTE)
def shape_by_list(context: Context) -> Outcome:
    """A shape is played by the outputs' own point list, because the host cannot keep its times."""
    for each, path, name in _delivered(context):
        if each.serves and each.listing is not None:
            yield Hit(
                each.input,
                path,
                f"'{name}' is played by the outputs' own point list: {each.why}",
                "nothing to do; the list is verified before anything is energised",
            )

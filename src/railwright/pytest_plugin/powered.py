"""Energised inputs for a test: the run around its block, and what comes of that attached to the test."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from railwright.job import Energised, Job
from railwright.pytest_plugin.playing import KNOWN, judged, properties, way_of, why_no_pass


@contextmanager
def powered(test: pytest.Item, procedure: str | os.PathLike[str]) -> Iterator[Energised]:
    """As the fixture `energised` says. What is judged is attached also where the block itself failed."""
    raised = False
    power: Energised | None = None
    try:
        way = way_of(test.config, Job.open(procedure))
        try:
            with way.check.energised(**way.given) as power:
                try:
                    yield power
                except BaseException:
                    raised = True
                    raise
        finally:
            if power is not None:
                found = judged(test.config, way, power.run)
                for row in found.rows():
                    test.user_properties += properties(way, power.run, row, f"{row['requirement']}: ")
    except KNOWN as error:
        if raised:
            raise
        lines = [str(error)]
    else:
        lines = [f"{row['requirement']}: {why}" for row in found.rows() if (why := why_no_pass(found, row))]
        if found.evaluation.withheld and not lines:
            lines = [found.evaluation.withheld]
    if lines:
        pytest.fail("\n".join(lines), pytrace=False)

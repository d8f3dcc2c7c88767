"""Procedures as tests: a file is a run, and each of its requirements an item."""

from __future__ import annotations

import os
from collections.abc import Iterable
from typing import Any

import pytest

from railwright.documents.sources import DocumentErrors
from railwright.job import Job, Judged, Run
from railwright.pytest_plugin.playing import KNOWN, Way, judged, properties, way_of, why_no_pass
from railwright.records.ended import Ended


class ProcedureFile(pytest.File):
    """A procedure: run once in a session, by the first of its requirements that is asked for, in whichever
    order and however often they are.
    """

    job: Job
    way: Way
    run: Run
    judged: Judged
    _refused: BaseException | None = None

    def collect(self) -> Iterable[pytest.Item]:
        try:
            self.job = Job.open(self.path)
        except DocumentErrors as error:
            raise self.CollectError(str(error)) from None
        for number, required in enumerate(self.job.documents.procedure.requires):
            yield RequirementItem.from_parent(self, name=required.name, number=number)

    def setup(self) -> None:
        """Called before the first item, and again where others came between: what was refused stays so."""
        if self._refused is None and not hasattr(self, "judged"):
            self._play()
        if self._refused is not None:
            raise self._refused

    def _play(self) -> None:
        try:
            self.way = way_of(self.config, self.job)
            self.run = self.way.check.run(**self.way.given)
            self.judged = judged(self.config, self.way, self.run)
        except Exception as error:  # noqa: BLE001 - it is the error of each item
            # What is somebody's own is told in its lines, without a trace.
            known = isinstance(error, KNOWN)
            self._refused = pytest.fail.Exception(str(error), pytrace=False) if known else error
            return
        if self.run.stored.data.ended is Ended.INTERRUPTED:
            # The run took the signal, and ended by it: so does the session, before anything else is on.
            raise KeyboardInterrupt


class RequirementItem(pytest.Item):
    """A requirement: passed only where it is a pass; what is not to be judged is skipped."""

    def __init__(self, *, number: int, **given: Any) -> None:
        super().__init__(**given)
        self.number = number

    def runtest(self) -> None:
        of = self.getparent(ProcedureFile)
        assert of is not None
        row = of.judged.rows()[self.number]
        self.user_properties.extend(properties(of.way, of.run, row))
        if why := why_no_pass(of.judged, row):
            pytest.fail(why, pytrace=False)
        if row["outcome"] != "pass":
            pytest.skip(row["reason"])

    def reportinfo(self) -> tuple[os.PathLike[str] | str, int | None, str]:
        return self.path, None, self.name

"""The front door: from the three documents to settings, rehearsal, run, evaluation and report.

A job is immutable: `edit` gives a new one. What was worked out is kept, by what it was worked out from.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import threading
import uuid
from abc import abstractmethod
from codecs import BOM_UTF8
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from copy import deepcopy
from dataclasses import dataclass, field, replace
from functools import cached_property
from numbers import Real
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeVar

from railwright.arguments import (
    MOST_CASES,
    as_filled,
    as_keys,
    as_path,
    as_shown,
    as_text,
    as_truth,
    as_whole,
    unexpected,
)
from railwright.collection import seldom_collected
from railwright.documents.files import Kind, bytes_of
from railwright.documents.loader import Documents, keys_of, load_documents
from railwright.printable import printable
from railwright.records.names import EXPORT, EXPORT_KINDS, ExportKind
from railwright.settings.hookup import hooked_up
from railwright.settings.hookup.result import HookedUp

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    import xarray as xr
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from railwright.archive.stored import StoredRun
    from railwright.assumptions import Assumption
    from railwright.circuit.case import Case
    from railwright.documents.bench import Bench
    from railwright.documents.output_name import OutputName
    from railwright.evaluation.outcome import Evaluation, Outcome, Result
    from railwright.guard.link import GuardLink
    from railwright.plan.plan import Plan
    from railwright.plan.timeline import Timeline
    from railwright.powering.outputs import Standing
    from railwright.powering.procedures import Typed
    from railwright.powering.text import Tree
    from railwright.recordings.file import RecordedFile
    from railwright.rehearsal.ensemble import Ensemble
    from railwright.rehearsal.faults import FaultStudy
    from railwright.rehearsal.playback import PlayedShape
    from railwright.rehearsal.rehearse import InputResult, Prediction
    from railwright.running.alongside import Alongside
    from railwright.running.by_hand import Hands
    from railwright.running.interruption import StopRequest
    from railwright.running.outcome import InputReading, Progress, RunOutcome
    from railwright.running.requests import Requests
    from railwright.running.waiting import Triggers
    from railwright.settings.check import Checked
    from railwright.settings.findings import Finding
    from railwright.settings.measurable import Measurable
    from railwright.settings.settle import Settings
    from railwright.traces import Event, Record, Traces

T = TypeVar("T")
CaseName = Literal["nominal", "low", "high"]

KEPT = 16
"""Results that are kept in this process; the oldest are forgotten."""

_KEPT: dict[tuple[Any, ...], Any] = {}


class NotSettled(ValueError):
    """A job whose set points could not all be worked out; the findings that say why, one a line."""


class NotWritten(OSError):
    """A file that could not be written: one line with its path."""


class Blocked(ValueError):
    """A run that a finding stops; the findings, one a line."""


class NotEnergised(RuntimeError):
    """A block that was to have its inputs energised had not, from its beginning to its end; one line."""


@contextmanager
def _writing(path: Path) -> Iterator[None]:
    """What the system says of a file that it cannot write becomes a line of NotWritten."""
    try:
        yield
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        where = error.filename or path
        told = f"{where}: expected a place where a file can be written, got none: {reason}; name another"
        raise NotWritten(printable(told, one_line=True)) from None


def _loaded(procedure: str | os.PathLike[str], held: Mapping[str, bytes] | None = None) -> Documents:
    """As `load_documents`, with what is wrong with overrides, which rules are known here alone."""
    documents = load_documents(procedure, held)
    if documents.procedure.overrides:
        from railwright.settings.overrides import check_overrides

        check_overrides(documents)
    return documents


def _kept(key: tuple[Any, ...], make: Callable[[], T]) -> T:
    """What was made for this key before, or is made now."""
    if key in _KEPT:
        _KEPT[key] = found = _KEPT.pop(key)
        return found  # type: ignore[no-any-return]
    with seldom_collected():
        made = make()
    _KEPT[key] = made
    while len(_KEPT) > KEPT:
        del _KEPT[next(iter(_KEPT))]
    return made


@dataclass(frozen=True, eq=False)
class Job:
    """A procedure with its device and bench, as they are written. Open one with `railwright.open`."""

    documents: Documents
    path: Path

    @classmethod
    def open(cls, procedure: str | os.PathLike[str]) -> Job:
        """Load a procedure with its documents. Raises DocumentErrors with everything that is wrong."""
        path = as_path("procedure", procedure)
        return cls(_loaded(procedure), path)

    @cached_property
    def content(self) -> str:
        """SHA-256 of the documents and of the files that they name: equal where they say the same. Documents
        made in code have no text, and a number of their own.
        """
        if not self.documents.sources:
            return uuid.uuid4().hex
        digest = hashlib.sha256()
        for kind, source in sorted(self.documents.sources.items()):
            digest.update(f"{kind} {len(source.content)}\n".encode() + source.content)
            for name, held in sorted(source.beside.items()):
                size = len(held) if isinstance(held, bytes) else held.size
                digest.update(f"{name} {size}\n".encode())
                for piece in bytes_of(held):
                    digest.update(piece)
        return digest.hexdigest()

    @cached_property
    def _origin(self) -> tuple[Any, ...]:
        """What results are kept by: what the documents say, how their files are called, since findings name
        them, and which recordings are read.
        """
        files = self.documents.files.items()
        called = [(name, None if isinstance(held, bytes) else held) for name, held in files]
        return (self.content, *called)

    @cached_property
    def timeline(self) -> Timeline:
        """What the procedure asks, against time; a rise that is `auto` is worked out for it."""
        from railwright.plan.timeline import timeline_of

        asked = self._hooked.documents if self.documents.procedure.auto_rises else self.documents
        return timeline_of(asked.procedure, asked.device)

    def edit(
        self,
        path: str | Sequence[str | int],
        value: str | float | bool,
        document: Kind | None = None,
    ) -> Job:
        """The job with one value changed, or added: `job.edit("limits.main.current_limit", "0.9 A")`.

        path: keys and positions of a list; a sequence where a key has a dot in it. document: "procedure",
        "device" or "bench"; left out: the one in which the path leads farthest, of several the one that may
        have the value. The files stay as they are, and what was read is not read again; `save` writes the
        texts. Raises NotEdited where the path leads nowhere or into several documents, or where anything else
        would change with the value, DocumentErrors where the document is wrong with it, RecordingError where
        a recording is no longer the one that was read.
        """
        from railwright.documents.edit import NotEdited
        from railwright.documents.sources import DocumentErrors

        parts = as_keys("path", path)
        if not isinstance(value, str | Real):
            raise TypeError(unexpected("value", "a text, a number, True or False", value))
        if isinstance(value, str):
            as_text("value", value)
        if document not in (None, *self.documents.sources):
            raise ValueError(unexpected("document", f"one of {', '.join(self.documents.sources)}", document))
        made: list[Job] = []
        failed: list[NotEdited | DocumentErrors] = []
        kinds = (document,) if document else self._documents_with(parts)
        for kind in kinds:
            try:
                made.append(self._edited(kind, parts, value))
            except (NotEdited, DocumentErrors) as error:
                failed.append(error)
        if len(made) == 1:
            return made[0]
        wrong = [error for error in failed if isinstance(error, DocumentErrors)]
        if len(made) == 0 and len(wrong) < 2:
            raise (wrong or failed)[0]
        told = f"expected which document is meant, got a path that may be of {' or '.join(kinds)}"
        raise NotEdited(f"{'.'.join(map(str, parts))}: {told}; give document=")

    def _documents_with(self, path: tuple[str | int, ...]) -> tuple[Kind, ...]:
        """The documents in which a path leads farthest: one where it leads to a value. NotEdited: none."""
        from railwright.documents.edit import depth, leads_nowhere

        sources = self.documents.sources
        depths = {kind: depth(source.root, path) for kind, source in sources.items()}
        farthest = max(depths.values(), default=0)
        if farthest:
            kinds = tuple(kind for kind in sources if depths[kind] == farthest)
            return kinds[:1] if farthest == len(path) else kinds
        known = {kind: keys_of(kind) for kind in sources}
        if found := tuple(kind for kind in sources if str(path[0]) in known[kind]):
            return found
        keys = ", ".join(dict.fromkeys(key for each in known.values() for key in each))
        raise leads_nowhere(path, f"expected one of {keys}", path[0])

    def _edited(self, kind: Kind, path: tuple[str | int, ...], value: str | float | bool) -> Job:
        """The job with a value of one of its documents changed, which raises what `edit` does."""
        from railwright.documents.edit import edited

        source, read = self.documents.sources[kind], self.documents.files
        mark = source.content[: len(BOM_UTF8)] if source.content.startswith(BOM_UTF8) else b""
        content = mark + edited(source.content.decode("utf-8-sig"), path, value).encode()
        held = {name: each for name, each in read.items() if isinstance(each, bytes)}
        made = Job(_loaded(self.path, {**held, source.file: content}), self.path)
        for name, each in read.items():
            if not isinstance(each, bytes) and name in made.documents.files:
                each.check_unchanged()
        return made

    def save(self, folder: str | os.PathLike[str]) -> Job:
        """Write the documents, and the files that they name, into a folder; gives the job that lies there.

        Nothing that is there already is overwritten: FileExistsError. NotWritten where it cannot be written.
        """
        from railwright.records.manifest import write_together

        to = as_path("folder", folder)
        sources = self.documents.sources
        base = Path(os.path.commonpath([source.path.resolve().parent for source in sources.values()]))
        files: dict[Path, bytes | RecordedFile] = {}
        for source in sources.values():
            own = source.path.resolve().relative_to(base)
            files[own] = source.content
            files.update({own.parent / name: held for name, held in source.beside.items()})
        for name in files:
            if (to / name).exists():
                raise FileExistsError(f"{to / name}: expected no file there, got one")
        self.documents.check_recordings()
        with _writing(to):
            copies = {to / name: bytes_of(held) for name, held in files.items()}
            write_together(copies, new=True, folders=True)
        return Job.open(to / sources["procedure"].path.resolve().relative_to(base))

    def check(
        self, *, static: bool = False, cases: int | None = None, seed: int = 1, simulated: bool = False
    ) -> Check:
        """What to dial in and why, and what speaks against it.

        static: closed forms alone, nothing is rehearsed. cases, seed: of an ensemble by which the windows are
        settled too; left out: none. simulated: the supplies will be, so that no dialect need be proved at
        them. Raises `railwright.documents.proof_files.ProofFileError` where what was proved cannot be read.
        """
        from railwright.settings.check import check

        static, simulated = as_truth("static", static), as_truth("simulated", simulated)
        cases = 0 if cases is None else as_whole("cases", cases, 1, MOST_CASES)
        seed = as_whole("seed", seed, 0)
        today = dt.date.today()
        proofs = None
        if not (simulated or self.documents.bench.is_here):
            from railwright.documents.proof_files import read_proofs

            proofs = read_proofs()

        def make() -> tuple[Checked, str]:
            return _with_key(
                check(self._hooked, today, rehearsed=not static, cases=cases, seed=seed, proofs=proofs)
            )

        return Check(self, *_kept((self._origin, "check", static, cases, seed, today, proofs), make))

    def settle(self) -> Check:
        """As `check`, without its findings by rehearsal: only what the set points hang on is rehearsed.

        Raises NotSettled where an input has none.
        """
        from railwright.settings.check import Checked, settled

        today = dt.date.today()

        def make() -> tuple[Checked, str]:
            settings = settled(self._hooked, today, written=False)
            return _with_key(Checked(self._hooked.documents, settings, None))

        check = Check(self, *_kept((self._origin, "settle", today), make))
        missing = [name for name in self.documents.device.inputs if name not in check.settings.set_points]
        if missing:
            # All of them: who mends one would else find the next behind it.
            lines = [f"{f.where}: {f.why}; {f.remedy}" for f in check.findings if f.blocks]
            raise NotSettled("\n".join(lines or [f"{self.path}: no set points for {', '.join(missing)}"]))
        return check

    def rehearse(self, case: CaseName | Case = "nominal") -> Rehearsal:
        """Play the procedure by computation, with the set points that are settled."""
        return self.settle().rehearse(case)

    def ensemble(self, cases: int, seed: int = 1) -> Ensemble:
        """Play it in so many cases of everything that is uncertain."""
        from railwright.rehearsal.ensemble import merged, plan_ensemble
        from railwright.spread import over_threads

        cases, seed = as_whole("cases", cases, 1, MOST_CASES), as_whole("seed", seed, 0)
        plan = self.settle().plan

        def make() -> Ensemble:
            documents = self._hooked.documents
            return merged(over_threads(plan_ensemble(documents, plan.set_points, cases, seed, plan.played)))

        # It goes on counting (`Ensemble.add`): what is kept stays here.
        return deepcopy(_kept((self._origin, "ensemble", cases, seed), make))

    def faults(self, case: CaseName | Case = "nominal") -> FaultStudy:
        """Rehearse wrong leads, mistyped figures and lost supplies, one at a time."""
        from railwright.rehearsal.faults import rehearse_faults

        plan = self.settle().plan
        return rehearse_faults(self._hooked.documents, plan.set_points, case_of(case))

    def waveform(self, step: str | None = None) -> tuple[PlayedShape, ...]:
        """What the outputs make of the procedure's shapes, or of one of them. ValueError: no such step."""
        known = [each.called(number) for number, each in enumerate(self.documents.procedure.steps)]
        if step is not None and step not in known:
            listed = ", ".join(f"'{name}'" for name in known)
            raise ValueError(unexpected("step", f"one of the procedure's steps ({listed})", step))
        return tuple(each for each in self.rehearse().shapes if step in (None, each.span.name))

    def sheet(self, path: str | os.PathLike[str]) -> Path:
        """Write the set-up sheet, as PDF or SVG by the path's ending."""
        return self.settle().sheet(path)

    @cached_property
    def _hooked(self) -> HookedUp:
        return _kept((self._origin, "hook up"), lambda: hooked_up(self.documents))

    def __getstate__(self) -> dict[str, Any]:
        """What is pickled and copied: the documents alone, not what was worked out from them."""
        return {"documents": self.documents, "path": self.path}

    def __repr__(self) -> str:
        procedure, device = self.documents.procedure.procedure, self.documents.device.device
        return f"<Job '{procedure}' of '{device}', {len(self.documents.procedure.steps)} steps>"

    def _repr_html_(self) -> str:
        steps = [
            (span.name, span.kind, f"{span.start:g}", f"{span.end:g}", ", ".join(span.inputs))
            for span in self.timeline.spans
        ]
        return _table(repr(self), ("Step", "Kind", "From [s]", "To [s]", "Inputs"), steps)


@dataclass(frozen=True, eq=False)
class Check:
    """What a check makes of a job. A run takes the set points that were worked out, and no others."""

    job: Job
    checked: Checked
    worked_out: str = field(repr=False)

    @property
    def settings(self) -> Settings:
        """Set points with their reasons and windows."""
        return self.checked.settings

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What there is to say, stops first."""
        return self.checked.settings.findings

    @property
    def blocked(self) -> bool:
        """Whether a finding stops a run."""
        return self.checked.settings.blocked

    @property
    def measurable(self) -> tuple[Measurable, ...]:
        """What the supply's own readings can decide of each requirement; of a rehearsed check."""
        return self.checked.measurable

    @cached_property
    def plan(self) -> Plan:
        """What is told to which output, and when."""
        from railwright.plan.plan import plan_of

        return _kept(
            (self.job._origin, "plan", _as_key(self.settings)),
            lambda: plan_of(self.checked.documents, self.settings.set_points),
        )

    def rehearse(self, case: CaseName | Case = "nominal") -> Rehearsal:
        """Play the procedure by computation, with these set points."""
        from railwright.rehearsal.repeating import rehearse_until

        known = self.checked.rehearsal if case == "nominal" else None

        def make() -> tuple[Plan, Prediction]:
            given = self.checked.documents, self.settings.set_points
            return rehearse_until(*given, case_of(case), known)

        if not isinstance(case, str):
            plan, made = make()
            return Rehearsal(self, made, plan)
        key = (self.job._origin, "rehearse", case, known is None, _as_key(self.settings))
        plan, made = _kept(key, make)
        return Rehearsal(self, made, plan)

    def sheet(self, path: str | os.PathLike[str]) -> Path:
        """Write the set-up sheet, as PDF or SVG by the path's ending; gives the path.

        NotWritten where it cannot be written.
        """
        from railwright.records.manifest import write_atomically
        from railwright.report.sheet import sheet_of
        from railwright.report.sheet_page import sheet_pdf, sheet_svg

        to = as_path("path", path)
        if to.suffix.lower() not in (".pdf", ".svg"):
            raise ValueError(f"expected a file that ends in .pdf or .svg, got '{to}'")
        now = dt.datetime.now().astimezone()
        data = sheet_of(self.checked.documents, self.settings, now.date())
        content = sheet_svg(data) if to.suffix.lower() == ".svg" else sheet_pdf(data, now)
        with _writing(to):
            write_atomically(to, content)
        return to

    # One piece: what is refused stands before what is begun.
    # Many: each is a choice of whoever runs it.
    def run(
        self,
        *,
        unit: str,
        operator: str,
        folder: str | os.PathLike[str] | None = None,
        twins: bool = False,
        seed: int = 1,
        consent: bool = False,
        triggers: Triggers | None = None,
        hands: Hands | None = None,
        progress: Progress | None = None,
        stop: StopRequest | None = None,
        paced: threading.Event | None = None,
        requests: Requests | None = None,
    ) -> Run:
        """Play the procedure on the bench and record it in a folder (default: below `runs/`).

        twins: on simulated supplies, which share a simulated clock with the run; seed: of what is true behind
        them. consent: outputs that are found on, and voltages that stand there before, are agreed to.
        triggers: its `press` and `trigger`, called from another thread, are the key and the trigger that a
        shape waits for or is ended by. hands: asks a person to make a setting that no command of a real
        supply makes, and gives what was set (`railwright.running.by_hand`). requests: what is asked of one
        input while it is powered (`railwright.running.requests`). progress: told how it goes on. stop: its
        `request`, called from another thread, ends the run. paced: while it is set, the simulated clock goes
        as fast as the computer's. Raises Blocked where a finding stops it, or real supplies would be switched
        on after a check without its rehearsal, RunRefused where it may not begin, RecordingError where a
        recording is no longer the one that was read.
        """
        from railwright.running.folder import default_folder
        from railwright.running.runner import run
        from railwright.settings.data import as_data
        from railwright.settings.engine_rules import DIALECT_UNPROVED

        unit, operator = as_filled("unit", unit), as_filled("operator", operator)
        seed = as_whole("seed", seed, 0)
        twins, consent = as_truth("twins", twins), as_truth("consent", consent)
        findings = [f for f in self.findings if not (twins and f.rule == DIALECT_UNPROVED)]
        self._expect_unblocked(findings, twins=twins)
        place = default_folder(self.job.path, unit) if folder is None else as_path("folder", folder)
        given: dict[str, Any] = {
            "unit": unit,
            "operator": operator,
            "folder": place,
            "findings": findings,
            "settings": as_data(self.settings),
            "consent": consent,
            "triggers": triggers,
            "progress": progress,
            "stop": stop,
            "requests": requests,
        }
        documents, set_points = self.checked.documents, self.settings.set_points
        if not twins:
            return Run.read(run(documents, set_points, hands=hands, **given).folder)
        from railwright.guard.local_link import LocalLink
        from railwright.running.by_hand import SimulatedHands
        from railwright.twin.virtual_network import VirtualNetwork
        from railwright.virtual_time import PacedLoop

        loop = PacedLoop(paced or threading.Event())
        bench = documents.bench, documents.device, documents.procedure
        with VirtualNetwork(loop, *bench, seed=seed) as network:
            link, turn = LocalLink(loop, network.connect), SimulatedHands(network.set_by_hand)
            outcome = run(documents, set_points, link=link, hands=turn, **given)
        return replace(Run.read(outcome.folder), outcome=outcome)

    @contextmanager
    def energised(
        self,
        *,
        unit: str,
        operator: str,
        folder: str | os.PathLike[str] | None = None,
        twins: bool = False,
        seed: int = 1,
    ) -> Iterator[Energised]:
        """Run the procedure in a thread of its own, and have the block go on while it waits for a key.

            with check.energised(unit="S-1", operator="A. Keeper", twins=True) as power:
                power["main"].voltage   # newest reading
            power.run                   # once the outputs are off

        The procedure waits for a key, or repeats a shape until one comes, in exactly one place: it says what
        is on meanwhile, and for how long at most. The block begins there, and its end is the key: the rest of
        the procedure is played. A block that raises ends the run, outputs off. One that holds the interpreter
        for a second lets the guard take the run for dead: outputs off. On simulated supplies time goes as
        fast as the computer's while the block lasts.

        Raises NotEnergised where the procedure waits for no key, or in several places, and where the run
        ended before the block began, or before it was over; and what `run` raises.
        """
        from railwright.running.alongside import Alongside
        from railwright.traces import EventKind

        timeline = self.plan.timeline
        keys = [each.step for each in timeline.waits if each.source == "key"]
        keys += [each.step for each in timeline.repeated if each.until.press == "key"]
        if len(keys) != 1:
            where = ", ".join(f"'{timeline.spans[step].name}'" for step in keys) or "none"
            told = f"{self.job.path}: expected one place in which it waits for a key, got {where}"
            raise NotEnergised(f"{told}; write 'wait_for: key' in one segment of a shape")
        with Alongside[Run]() as side:
            begun = side.start(
                lambda: self.run(
                    unit=unit,
                    operator=operator,
                    folder=folder,
                    twins=twins,
                    seed=seed,
                    triggers=side.triggers,
                    progress=side.progress,
                    stop=side.stop,
                    paced=side.paced,
                )
            )
            power = Energised(side)
            if not begun:
                raise NotEnergised(f"it never waited for the key: {_how_it_ended(power.run)}")
            yield power
            side.finish()
            came = {EventKind.KEY_COMES, EventKind.UNTIL_COMES}
            if not any(event.kind in came for event in power.run.events):
                told = _how_it_ended(power.run)
                raise NotEnergised(f"the key came when the run no longer waited for it: {told}")

    def _expect_unblocked(self, findings: Sequence[Finding], *, twins: bool) -> None:
        """Blocked where one of these findings stops a run, or something was not checked."""
        if any(f.blocks for f in findings):
            lines = [f"{f.where or ''}: {f.rule}: {f.why}; {f.remedy}" for f in findings if f.blocks]
            raise Blocked("\n".join(lines))
        if not twins and self.checked.rehearsal is None:
            told = "expected a check with its rehearsal before real supplies are switched on, got one without"
            raise Blocked(f"{told}; run what `job.check()` gives")
        if _as_key(self.settings) != self.worked_out:
            told = "expected the set points that were checked, got others"
            raise Blocked(f"{told}; change them with `edit`, and check again")

    def __repr__(self) -> str:
        from railwright.settings.findings import ASSUMED, tally

        assumed = sum(each.rule == ASSUMED for each in self.findings)
        told = f"{tally(self.findings)}, {assumed} assumed"
        return f"<Check of '{self.job.documents.procedure.procedure}': {told}>"

    def _repr_html_(self) -> str:
        rows = [(f.severity.value, f.rule, f.about, f.why, f.remedy) for f in self.findings]
        return _table(repr(self), ("Severity", "Rule", "About", "Why", "What to do"), rows)


@dataclass(frozen=True, eq=False)
class Power:
    """One input that is powered by hand: `power` and `power_output` make it.

    at: the level [V] that is begun with. low, high: between which others may be asked for. at_most: how long
    it lasts at most [s]. levels: the check of every change that may be asked for. check: of what is played
    then, with the set points that those settle; None where a finding stops them. head: what its procedures
    have in common. typed: the device document that was made of what was typed; '' where there is one.
    """

    input: str
    at: float
    low: float
    high: float
    at_most: float
    levels: Check
    check: Check | None
    head: Tree = field(repr=False)
    typed: str = field(repr=False, default="")

    @property
    def blocked(self) -> bool:
        """Whether a finding stops it."""
        return self.check is None or self.check.blocked

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What there is to say of either, stops first; what is said of both, once."""
        from railwright.settings.settle import by_severity

        found = [*self.levels.findings, *(() if self.check is None else self.check.findings)]
        once = {(each.rule, each.about): each for each in reversed(found)}
        made = {os.fspath(each.job.path) for each in (self.levels, self.check) if each is not None}
        return by_severity(
            [
                # What was made for it has no line that anybody could look up.
                replace(each, where=None) if each.where is not None and each.where.file in made else each
                for each in found
                if once[each.rule, each.about] is each
            ]
        )

    def requests(self) -> Requests:
        """What may be asked of the run; given to it, and kept by whoever asks."""
        from railwright.running.requests import Requests

        return Requests(self.input, self.low, self.high, self.at)

    def run(self, **given: Any) -> Run:
        """Power it, as `Check.run` does, which takes the same, and raises the same; `requests` lead it. It is
        off at the end of `at_most`.
        """
        if self.check is None:
            lines = [
                f"{f.where or ''}: {f.rule}: {f.why}; {f.remedy}" for f in self.levels.findings if f.blocks
            ]
            raise Blocked("\n".join(lines or ["no set points"]))
        return self.check.run(**given)

    def as_procedure(self, events: Iterable[Event], to: str | os.PathLike[str] | None = None) -> str:
        """What was done in a run of it, as a procedure document that can be checked and run again. events: of
        the run. to: the file that it is for (default: one beside its documents), for the paths in it; the
        device that was typed is taken to lie beside that, where `device_beside` says.
        """
        from railwright.powering.procedures import done
        from railwright.powering.text import as_document

        base = self.levels.job.path.parent
        file = self.levels.job.path if to is None else as_path("to", to)
        moved = {key: _seen_from(file.parent, base / self.head[key]) for key in ("device", "bench")}
        if self.typed:
            moved["device"] = device_beside(file).name
        tree, marks = done({**self.head, **moved}, self.input, self.at, events)
        marked = [f"Marked at {mark}" for mark in marks]
        told = f"What was done by hand to {self.input}, with the limits that held then."
        return as_document(tree, [told, *marked])


def device_beside(procedure: Path) -> Path:
    """Where the device lies that was typed, beside what was done with it."""
    return procedure.with_name(f"{procedure.name.split('.')[0]}.device.yaml")


# Many: what is powered, and between which bounds.
def power(
    device: str | os.PathLike[str],
    bench: str | os.PathLike[str],
    name: str,
    *,
    at: float | None = None,
    between: tuple[float, float] | None = None,
    at_most: float = 3600.0,
    hook_up: str | os.PathLike[str] | None = None,
    simulated: bool = False,
) -> Power:
    """One input of a device to be powered by hand, checked.

    at: the level that is begun with [V] (default: nominal). between: the levels that may be asked for
    (default: where the device operates). hook_up: a procedure of this device on this bench, whose hook-up and
    limits are taken; left out: they are worked out. simulated: as of `Job.check`. Raises DocumentErrors with
    everything that is wrong, ValueError where an input is not there or a level is not meant.
    """
    from railwright.documents.loader import load_bench, load_device
    from railwright.powering.procedures import head_of, head_without

    paths = as_path("device", device), as_path("bench", bench)
    loaded, on = load_device(paths[0]).model, load_bench(paths[1]).model
    if name not in loaded.inputs:
        raise ValueError(unexpected("name", f"an input of the device ({', '.join(loaded.inputs)})", name))
    own = loaded.inputs[name]
    if hook_up is not None:
        given = Job.open(hook_up)
        if (given.documents.device, given.documents.bench) != (loaded, on):
            told = f"a procedure of {device} on {bench}"
            raise ValueError(unexpected("hook_up", told, str(hook_up)))
        folder = given.path.parent
        head = head_of(given.documents.sources["procedure"].root.plain(), name)
    else:
        folder = paths[1].parent
        trips = all(each.trip_delay is not None for s in on.supplies.values() for each in s.outputs.values())
        seen = _seen_from(folder, paths[0]), _seen_from(folder, paths[1])
        head = head_without(seen, name, loaded.inputs, trips)
    low, high = (own.operating.low, own.operating.high) if between is None else between
    levels = own.nominal if at is None else at, low, high
    return _powered(name, levels, at_most, folder, head, "", simulated)


def power_output(
    bench: str | os.PathLike[str],
    output: str,
    typed: Typed,
    *,
    lead: str = "auto",
    at_most: float = 3600.0,
    simulated: bool = False,
) -> Power:
    """An output to be powered by hand into something that no document describes, by what was typed of it.

    Raises what `power` does.
    """
    from railwright.documents.loader import load_bench
    from railwright.powering.procedures import CONNECTED, head_typed, typed_device
    from railwright.powering.text import as_document

    path = as_path("bench", bench)
    _known_output(load_bench(path).model, output)
    if not typed.limit > 0.0 or not typed.at > 0.0:
        raise ValueError("typed: expected a voltage and a current limit above 0")
    file = f"{_as_file(output)}-by-hand.device.yaml"
    text = as_document(typed_device(output, typed), ["What was typed of what is connected."])
    head = head_typed((file, path.name), output, lead, typed)
    levels = typed.at, typed.low, typed.high
    return _powered(CONNECTED, levels, at_most, path.parent, head, text, simulated)


def read_output(bench: str | os.PathLike[str], output: str) -> Standing:
    """Ask an output of a bench how it stands; nothing is told to it. Raises DocumentErrors, ValueError where
    there is no such output, InstrumentError where it gives no answer or a run has it.
    """
    from railwright.documents.loader import load_bench
    from railwright.powering.outputs import standing

    on = load_bench(as_path("bench", bench)).model
    name = _known_output(on, output)
    return _through_guard(lambda link: standing(on, name, link))


def set_output(bench: str | os.PathLike[str], output: str, voltage: float) -> Standing:
    """Set the voltage of an output that is off [V], verified. Raises what `read_output` does, and ValueError
    where the output cannot be set so.
    """
    from railwright.documents.loader import load_bench
    from railwright.powering.outputs import set_off

    on = load_bench(as_path("bench", bench)).model
    name = _known_output(on, output)
    reach = on.output(name).voltage
    if voltage not in reach:
        told = f"a voltage that {name} can be set to ({reach.text})"
        raise ValueError(unexpected("voltage", told, f"{voltage:g} V"))
    return _through_guard(lambda link: set_off(on, name, voltage, link))


def _through_guard(ask: Callable[[GuardLink], Standing]) -> Standing:
    from railwright.guard.process_link import ProcessLink

    link = ProcessLink()
    try:
        return ask(link)
    finally:
        link.close()


def _known_output(bench: Bench, output: str) -> OutputName:
    """The output of that name. ValueError: there is none."""
    found = next((each for each in bench.output_names if each == output), None)
    if found is None:
        raise ValueError(unexpected("output", f"one of the bench ({', '.join(bench.output_names)})", output))
    return found


# Many: what is powered, between which bounds, and by which documents.
def _powered(
    name: str,
    levels: tuple[float, float, float],
    at_most: float,
    folder: Path,
    head: Tree,
    typed: str,
    simulated: bool,
) -> Power:
    """The checks of every level that may be asked for, and of what is played with what those settle."""
    from railwright.powering.procedures import all_levels, written_out
    from railwright.powering.procedures import held as held_on
    from railwright.powering.text import as_document

    at, low, high = levels
    if not low <= at <= high:
        told = f"a level between {low:g} V and {high:g} V, which may be asked for"
        raise ValueError(unexpected("at", told, f"{at:g} V"))
    if not at_most > 0.0:
        raise ValueError(unexpected("at_most", "a time above 0 s", at_most))

    held = {os.fspath(folder / head["device"]): typed.encode()} if typed else {}

    def checked(tree: Tree, kind: str) -> Check:
        path = folder / f"{_as_file(name)}-{kind}.procedure.yaml"
        held_now = {**held, os.fspath(path): as_document(tree).encode()}
        return Job(_loaded(path, held_now), path).check(simulated=simulated)

    first = checked(all_levels(head, name, at, low, high), "all-levels")
    if first.blocked:
        return Power(name, at, low, high, at_most, first, None, head, typed)
    head = written_out(head, first.checked.documents.procedure.hook_up, first.settings.set_points)
    second = checked(held_on(head, name, at, at_most), "by-hand")
    return Power(name, at, low, high, at_most, first, second, head, typed)


def _seen_from(folder: Path, path: Path) -> str:
    """A path as a document in that folder names it."""
    return Path(os.path.relpath(path, folder)).as_posix()


def _as_file(name: str) -> str:
    """A name as part of a file's."""
    return "".join(sign if sign.isalnum() else "-" for sign in name)


@dataclass(frozen=True, eq=False)
class InputTraces:
    """Channels of one input. result: what a rehearsal says of it; None of a run."""

    name: str
    traces: Traces
    result: InputResult | None = None

    @property
    def _channel(self) -> str:
        return "voltage" if "voltage" in self.traces.columns else "terminal_voltage"

    @property
    def time(self) -> NDArray[np.float64]:
        """Time [s], shape (n,)."""
        return self.traces.time

    @property
    def voltage(self) -> NDArray[np.float64]:
        """Voltage at the connector, else at the supply's terminals [V], shape (n,)."""
        return self.traces.columns[self._channel]

    @property
    def current(self) -> NDArray[np.float64]:
        """Current [A], shape (n,)."""
        return self.traces.columns["current"]

    def plot(self) -> Figure:
        """Voltage and current against time."""
        from matplotlib.figure import Figure

        from railwright.traces import PLACES

        figure = Figure(figsize=(8.0, 4.5), layout="constrained")
        upper, lower = figure.subplots(2, sharex=True)
        upper.plot(self.time, self.voltage)
        lower.plot(self.time, self.current)
        upper.set(title=self.name, ylabel=f"Voltage {PLACES[self._channel]} in V")
        lower.set(xlabel="Time in s", ylabel="Current in A")
        for axes in (upper, lower):
            axes.grid(visible=True)
        return figure

    def to_dataframe(self) -> pd.DataFrame:
        """Index `time` [s], one column a channel."""
        from railwright.frames import trace_frame

        return trace_frame(self.traces)

    def __repr__(self) -> str:
        end = float(self.time[-1]) if self.time.size else 0.0
        return f"<InputTraces of '{self.name}': {self.time.size} instants up to {end:g} s>"


def _known(what: str, name: str, known: Iterable[str]) -> None:
    """Raises a KeyError that names what there is, where the name is none of that."""
    from railwright.documents.sources import none_of

    names = list(known)
    if name not in names:
        raise KeyError(none_of(what, names, str(name)))


class _Recorded(Mapping[str, InputTraces]):
    """What has a record: inputs by their names."""

    @property
    @abstractmethod
    def record(self) -> Record:
        """What it is a mapping of."""

    @property
    def events(self) -> tuple[Event, ...]:
        """What happened, in order of time."""
        return self.record.events

    def __getitem__(self, name: str) -> InputTraces:
        _known("inputs with a record", name, self.record.traces)
        return InputTraces(name, self.record.traces[name])

    def __iter__(self) -> Iterator[str]:
        return iter(self.record.traces)

    def __len__(self) -> int:
        return len(self.record.traces)

    def to_dataframe(self) -> pd.DataFrame:
        """Index (`input`, `time`), one column a channel."""
        from railwright.frames import record_frame

        return record_frame(self.record)

    def to_xarray(self) -> xr.Dataset:
        """Variables `input_channel` over `input_time` [s]."""
        from railwright.frames import record_dataset

        return record_dataset(self.record)

    def _repr_html_(self) -> str:
        rows = [(f"{e.time:.6f}", e.subject, e.what, e.detail) for e in self.events]
        return _table(repr(self), ("Time [s]", "Of", "What", "Detail"), rows)


@dataclass(frozen=True, eq=False)
class Rehearsal(_Recorded):
    """What is predicted: inputs by their names, with what comes out of the requirements."""

    check: Check
    prediction: Prediction
    plan: Plan = field(repr=False)

    @property
    def record(self) -> Record:
        """The predicted record."""
        return self.prediction.record

    @property
    def assumptions(self) -> tuple[Assumption, ...]:
        """What no document says, and was assumed."""
        return self.prediction.assumptions

    @cached_property
    def shapes(self) -> tuple[PlayedShape, ...]:
        """What the outputs make of the procedure's shapes."""
        from railwright.rehearsal.playback import played_shapes

        return played_shapes(self.plan, self.record)

    @cached_property
    def evaluation(self) -> Judged:
        """What every requirement would come out as."""
        from railwright.evaluation.evaluate import evaluate

        plan = self.check.plan
        return Judged(evaluate(self.check.checked.documents, plan.set_points, self.record))

    def __getitem__(self, name: str) -> InputTraces:
        _known("inputs", name, self.prediction.inputs)
        return InputTraces(name, self.record.traces[name], self.prediction.inputs[name])

    def __repr__(self) -> str:
        return f"<Rehearsal of {', '.join(self)}: {self.prediction.steps} steps of the solver>"


@dataclass(frozen=True, eq=False)
class Judged:
    """Requirements judged, in the procedure's order."""

    evaluation: Evaluation

    @property
    def results(self) -> tuple[Result, ...]:
        """One a requirement."""
        return self.evaluation.results

    @property
    def outcome(self) -> Outcome:
        """Of the whole: pass, fail or inconclusive."""
        return self.evaluation.outcome

    def __getitem__(self, requirement: str) -> Result:
        found = {each.requirement: each for each in self.results}
        _known("requirements", requirement, found)
        return found[requirement]

    def to_dataframe(self) -> pd.DataFrame:
        """One row a requirement: measured value with its interval, limits, outcome, reason."""
        from railwright.frames import rows_frame

        return rows_frame(self.rows())

    def rows(self) -> list[dict[str, Any]]:
        """The same, each row as a mapping; None is what there is not."""
        return [
            {
                "requirement": each.requirement,
                "measure": each.measure,
                "of": each.of,
                "during": each.during,
                "value": each.measured.value if each.measured else None,
                "low": each.measured.low if each.measured else None,
                "high": each.measured.high if each.measured else None,
                "unit": each.unit,
                "lower_limit": each.lower,
                "upper_limit": each.upper,
                "outcome": each.outcome.value,
                "reason": each.reason,
                "source": each.source,
            }
            for each in self.results
        ]

    def __repr__(self) -> str:
        found = {name: sum(r.outcome == name for r in self.results) for name in _OUTCOMES}
        counts = [f"{count} {name}" for name, count in found.items() if count or name != "not judged"]
        return f"<Judged: {self.outcome.value} ({', '.join(counts)})>"

    def _repr_html_(self) -> str:
        rows = self.rows()
        return _table(repr(self), tuple(rows[0]) if rows else (), [tuple(row.values()) for row in rows])


_OUTCOMES = ("pass", "fail", "inconclusive", "not judged")


@dataclass(frozen=True, eq=False)
class Run(_Recorded):
    """A run in its folder: inputs by their names, with the readings that were taken.

    outcome: how it ended, where it was played in this process.
    """

    stored: StoredRun
    outcome: RunOutcome | None = None

    @classmethod
    def read(cls, folder: str | os.PathLike[str]) -> Run:
        """Read a run from its folder. Raises NoRun or DocumentErrors where it cannot be read."""
        from railwright.archive.stored import open_stored

        return cls(open_stored(as_path("folder", folder)))

    @property
    def folder(self) -> Path:
        return self.stored.folder

    @property
    def record(self) -> Record:
        """The readings that were taken."""
        return self.stored.data.record

    @property
    def completed(self) -> bool:
        """Whether the procedure was played to its end, or to a trip that it requires."""
        return self.stored.ending.as_required

    @property
    def off_confirmed(self) -> bool | None:
        """Whether every output was read to be off, or stays on as the procedure says; None: not known."""
        return self.stored.ending.off_confirmed

    def evaluate(
        self,
        recording: str | os.PathLike[str] | None = None,
        recorder: str | None = None,
        keys: str = "",
    ) -> Judged:
        """Judge every requirement, and keep that in the run's folder.

        recording: a file of a recorder of the bench (CSV, Parquet, HDF5 or WAV), whose name may be left out
        where there is only one. keys: what its columns leave open, as `--keys` takes it.

        Raises AlignmentError or RecordingError where it does not fit the run, DocumentErrors where a key is
        wrong.
        """
        from railwright.archive.stored import ExternalRecording, evaluate_run

        keys = as_text("keys", keys)
        if recording is None:
            for name, given in (("recorder", recorder), ("keys", keys or None)):
                if given is not None:
                    raise ValueError(f"{name}: expected a recording beside it, got {given!r} alone; give one")
            return Judged(evaluate_run(self.stored, []))
        known = list(self.stored.documents.bench.recorders)
        if recorder is None and len(known) == 1:
            recorder = known[0]
        if recorder not in known:
            listed = ", ".join(f"'{name}'" for name in known) or "none"
            raise ValueError(f"expected a recorder of the bench ({listed}), got {recorder!r}; name one")
        external = ExternalRecording(as_path("recording", recording), recorder, keys)
        return Judged(evaluate_run(self.stored, [external]))

    @property
    def evaluations(self) -> tuple[Judged, ...]:
        """Every evaluation so far, in their order."""
        from railwright.archive.stored import evaluations_of

        return tuple(Judged(each) for each in evaluations_of(self.stored)[0])

    def report(
        self, *, customer: str | None = None, authorised_by: str | None = None, function: str | None = None
    ) -> Path:
        """Write the report, which says this of the test, into the run's folder; gives the PDF's path."""
        from railwright.archive.stored import open_stored
        from railwright.report.of_run import make_report

        said = {"customer": customer, "authorised_by": authorised_by, "function": function}
        about = {name: None if each is None else as_shown(name, each) for name, each in said.items()}
        return make_report(open_stored(self.folder), about)[0]

    def export(self, to: ExportKind, folder: str | os.PathLike[str] | None = None) -> tuple[Path, ...]:
        """Write the readings into files for other programs; gives their paths.

        to: "csv" or "parquet", a file an input and a multimeter, or "hdf5", one file. folder: where to
        (default: `export` in the run's own folder), made where it is not there; files of an earlier export of
        the run are replaced. Raises NotInstalled where HDF5 is wanted and h5py is not there, NotWritten where
        a file cannot be written.
        """
        from railwright.archive.export import export_run

        if to not in EXPORT_KINDS:
            raise ValueError(unexpected("to", f"one of {', '.join(EXPORT_KINDS)}", to))
        into = self.folder / EXPORT if folder is None else as_path("folder", folder)
        with _writing(into):
            return export_run(self.stored, to, into)

    def __repr__(self) -> str:
        return f"<Run in '{self.folder}': {self.stored.ending.words}>"


@dataclass(frozen=True, eq=False)
class Energised(Mapping[str, "InputReading"]):
    """Inputs that a run has energised while it goes on in a thread of its own: their newest readings by name.
    NotEnergised where the run is over.
    """

    _side: Alongside[Run]

    @property
    def run(self) -> Run:
        """The run, once it is over; until then, it is waited for. Raises what ended it where it did not come
        to an outcome.
        """
        return self._side.result()

    def __getitem__(self, name: str) -> InputReading:
        if self._side.over:
            raise NotEnergised(f"the run is over: {_how_it_ended(self.run)}")
        _known("inputs with a reading", name, self._side.progress.newest)
        return self._side.progress.newest[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._side.progress.newest)

    def __len__(self) -> int:
        return len(self._side.progress.newest)

    def __repr__(self) -> str:
        return f"<Energised: {'over' if self._side.over else ', '.join(self)}>"


def _how_it_ended(run: Run) -> str:
    """How a run ended, in a line; where that was early, when and why."""
    ending = run.stored.ending
    return ending.withheld or ending.words


def case_of(case: CaseName | Case) -> Case:
    """The case of a name. ValueError where there is none, TypeError where it is neither name nor case."""
    from railwright.circuit.case import NAMED

    if callable(case):
        return case
    wanted = f"one of {', '.join(NAMED)}, or a function such as `lambda name, value: value.high`"
    if not isinstance(case, str):
        raise TypeError(unexpected("case", wanted, case))
    if case not in NAMED:
        raise ValueError(unexpected("case", wanted, case))
    return NAMED[case]


def _as_key(settings: Settings) -> str:
    """What tells settings of one job apart."""
    return repr(settings.set_points)


def _with_key(checked: Checked) -> tuple[Checked, str]:
    """A check that was just made, with its set points as they are now."""
    return checked, _as_key(checked.settings)


def _table(title: str, heads: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
    """A table for a notebook."""
    import html

    def cells(values: Sequence[Any], tag: str) -> str:
        return "".join(f"<{tag}>{html.escape(str(value))}</{tag}>" for value in values)

    body = "".join(f"<tr>{cells(row, 'td')}</tr>" for row in rows)
    return f"<p>{html.escape(title)}</p><table><tr>{cells(heads, 'th')}</tr>{body}</table>"

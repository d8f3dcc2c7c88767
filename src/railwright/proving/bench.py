"""A bench proved: each output through a lead into the load, one after the other, and what that says."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from itertools import cycle, islice
from typing import Protocol

from railwright.dialects.proofs import Proof
from railwright.documents.bench import Bench, Calibration
from railwright.documents.output_name import OutputName
from railwright.guard.link import GuardLink
from railwright.instruments.electronic_load import ElectronicLoadDriver
from railwright.instruments.errors import InstrumentError
from railwright.instruments.guarded import open_guarded
from railwright.instruments.off_entries import plan_of_outputs
from railwright.instruments.supply import Identity, OutputSetting, SupplyDriver
from railwright.proving.lines import ProofLine
from railwright.proving.stage import NotUnplugged, StageProof
from railwright.running.energised import energised
from railwright.running.masters import master_on
from railwright.running.provoke import proofs_of

HOLDS_FOR = 365
"""Days for which a proof holds, where nothing else is asked for."""

Pair = tuple[OutputName, str]
"""An output and the lead through which it is proved."""


class Place(Protocol):
    """Gives a guard for an output, connected through a lead to the load, as long as it is looked at."""

    def __call__(self, output: OutputName, lead: str) -> AbstractContextManager[GuardLink]: ...


Ready = Callable[[OutputName, str], bool]
"""Asks whether the device is unplugged, and the output connected through the lead to the load."""


class NotReady(Exception):
    """Nobody has said that the device is unplugged; one line for people."""


@dataclass(frozen=True, slots=True)
class ProvedStage:
    """One output and its lead: what was found. not_confirmed: why it is not confirmed off, '' where it is."""

    output: OutputName
    lead: str
    lines: tuple[ProofLine, ...]
    not_confirmed: str = ""

    @property
    def found(self) -> tuple[ProofLine, ...]:
        """What did not pass."""
        return tuple(line for line in self.lines if line.passed is False)


@dataclass(frozen=True, slots=True)
class UsedInstrument:
    """One instrument as it said that it is, and its calibration as the bench gives it."""

    name: str
    kind: str
    identity: Identity
    calibrated: Calibration | None


@dataclass(frozen=True)
class BenchProofRecord:
    """What a proof of a bench says. due: until when it holds, where everything passed."""

    number: str
    bench: str
    operator: str
    at: dt.datetime
    due: dt.date
    stages: tuple[ProvedStage, ...]
    instruments: tuple[UsedInstrument, ...]
    proofs: tuple[Proof, ...]

    @property
    def simulated(self) -> bool:
        return any(each.identity.simulated for each in self.instruments)

    @property
    def found(self) -> tuple[ProofLine, ...]:
        return tuple(line for stage in self.stages for line in stage.found)

    @property
    def unjudged(self) -> tuple[ProofLine, ...]:
        """What could not be judged, and says why."""
        return tuple(line for stage in self.stages for line in stage.lines if line.passed is None)

    @property
    def not_confirmed(self) -> tuple[str, ...]:
        return tuple(stage.not_confirmed for stage in self.stages if stage.not_confirmed)

    @property
    def passed(self) -> bool:
        return not self.found and not self.not_confirmed


def pairs_of(bench: Bench, chosen: Sequence[Pair] = ()) -> tuple[Pair, ...]:
    """Which output is proved through which lead: those that were chosen, else every output and every lead at
    least once, in the order of the document.
    """
    if chosen:
        return tuple(chosen)
    outputs, leads = bench.output_names, tuple(bench.leads)
    count = max(len(outputs), len(leads))
    return tuple(zip(islice(cycle(outputs), count), islice(cycle(leads), count), strict=True))


# Many: what is proved, into what, by whom, and who is told.
def prove_bench(
    bench: Bench,
    load: str,
    pairs: Sequence[Pair],
    *,
    operator: str,
    at: dt.datetime,
    place: Place,
    ready: Ready,
    holds_for: int = HOLDS_FOR,
    tell: Callable[[ProvedStage], None] = lambda stage: None,
    say: Callable[[str], None] = lambda line: None,
) -> BenchProofRecord:
    """Prove these outputs and leads. Each is off and let go before the next is asked for. say: as of
    `energised`.

    NotReady where nobody says that the device is unplugged, InstrumentError where an instrument is not the
    one of the bench, or cannot be reached.
    """
    stages: list[ProvedStage] = []
    used: dict[str, UsedInstrument] = {}
    proofs: list[Proof] = []
    for output, lead in pairs:
        if not ready(output, lead):
            told = f"nobody has said that the device is unplugged and {output} connected through '{lead}'"
            raise NotReady(f"{told} to {load}: nothing was switched on")
        with place(output, lead) as link:
            stage, instruments, own = _prove(bench, load, output, lead, link, operator, at, say)
        stages.append(stage)
        used |= {each.name: each for each in instruments}
        proofs += own
        tell(stage)
    return BenchProofRecord(
        f"P-{at:%Y%m%d-%H%M%S}-{uuid.uuid4().hex[:4]}",
        bench.bench,
        operator,
        at,
        at.date() + dt.timedelta(days=holds_for),
        tuple(stages),
        tuple(used.values()),
        tuple(proofs),
    )


# Many: where it is looked at, by whom, and when.
def _prove(
    bench: Bench,
    load: str,
    output: OutputName,
    lead: str,
    link: GuardLink,
    operator: str,
    at: dt.datetime,
    say: Callable[[str], None],
) -> tuple[ProvedStage, list[UsedInstrument], list[Proof]]:
    """One stage: whatever ends it, the guard switches off, and is waited for."""
    opened = open_guarded(link)
    supply = SupplyDriver(output.supply, bench.supplies[output.supply], opened)
    sink = ElectronicLoadDriver(load, bench.electronic_loads[load], opened)
    for driver in (supply, sink):
        driver.connect()
        driver.identify()
    on = [own for own in supply.outputs if supply.state(own)]
    if on:
        told = f"expected every output off, got {', '.join(on)} on; nothing was switched on"
        raise InstrumentError(supply.name, "", told)
    with energised(link, plan_of_outputs({supply: (output.output,)}, [sink]), say) as ending:
        work = StageProof(bench, output, lead, supply, sink, link.sleep, link.now)
        try:
            sink.prepare()
            supply.put(
                [OutputSetting(output.output, "voltage", supply.document.outputs[output.output].voltage.low)]
            )
            supply.put_ranges(output.output, ())
            if supply.has_master:
                master_on(supply, lambda: None, link.sleep)
            work.go()
        except NotUnplugged:
            pass  # its line says so
        except InstrumentError as error:
            work.lines.append(ProofLine("to the end", lead, passed=False, why=f"ended early: {error}"))
        finally:
            ending.seen_on = f"{output}: {work.not_off}" if work.not_off else ""
    stage = ProvedStage(output, lead, tuple(work.lines), ending.not_confirmed)
    kept = proofs_of(work.provoked, supply, output.output, by=operator, how="prove", at=at)
    return stage, [*_used(supply, sink)], kept


def _used(supply: SupplyDriver, sink: ElectronicLoadDriver) -> Iterable[UsedInstrument]:
    for kind, driver, calibrated in (
        ("supply", supply, supply.document.calibrated),
        ("electronic load", sink, sink.load.calibrated),
    ):
        assert driver.identity is not None, "identified before"
        yield UsedInstrument(driver.name, kind, driver.identity, calibrated)

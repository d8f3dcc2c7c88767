"""A run, from the first question to the last output off. It prints nothing; `Progress` is told.

A guard in a process of its own holds the sessions: see `railwright.guard`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

from railwright.dialects.dialect import DialectError
from railwright.dialects.proofs import Proofs
from railwright.documents.loader import Documents
from railwright.documents.proof_files import ProofFileError, read_proofs
from railwright.guard.link import GuardLink, GuardLost
from railwright.guard.off_level import DECAY
from railwright.guard.process_link import ProcessLink
from railwright.instruments.guarded import open_guarded
from railwright.instruments.session import TIMEOUT, Trace
from railwright.plan.plan import plan_of
from railwright.plan.set_points import SetPoints
from railwright.records import lines
from railwright.records.ended import AS_REQUIRED, Ended
from railwright.records.going import going_on
from railwright.records.log import Log
from railwright.records.names import GUARD_LOG, LOG, RESERVE
from railwright.running.by_hand import Hands
from railwright.running.conduct import Conduct
from railwright.running.folder import RunFolder, describe_run
from railwright.running.interruption import StopRequest, signals_ask
from railwright.running.multimeters import Multimeters
from railwright.running.off_plan import WAIT_FOR_LOST
from railwright.running.outcome import FolderRefused, Progress, RunOutcome, RunRefused
from railwright.running.recorder import LineLog, RunRecorder
from railwright.running.relays import RunRelays
from railwright.running.requests import Requests
from railwright.running.rig import Rig
from railwright.running.waiting import Triggers, signal_triggers
from railwright.settings.findings import Finding


# One piece: what must be let go of if the next thing cannot be had.
# Many: what a run is of, and the choices that its caller has.
def run(
    documents: Documents,
    set_points: SetPoints,
    *,
    unit: str,
    operator: str,
    folder: Path,
    progress: Progress | None = None,
    findings: Sequence[Finding] = (),
    settings: Mapping[str, Any] | None = None,
    link: GuardLink | None = None,
    trace: Trace | None = None,
    timeout: float = TIMEOUT,
    stop: StopRequest | None = None,
    open_log: Callable[[Path], LineLog] = Log,
    decay_limit: float = DECAY,
    wait_for_lost: float = WAIT_FOR_LOST,
    triggers: Triggers | None = None,
    consent: bool = False,
    hands: Hands | None = None,
    proofs: Proofs | None = None,
    requests: Requests | None = None,
) -> RunOutcome:
    """Play the procedure on the bench's supplies, and record it in `folder`, which must hold nothing yet.

    unit: serial number of the specimen. findings: what the check said; one that blocks refuses the run.
    settings: what the check settled, as data, kept beside the record. link: the guard (default: one is
    started). trace: told every line sent and received; it must neither wait nor raise. timeout: of one answer
    [s]. stop: asks the run to end, as Ctrl-C and SIGTERM do. wait_for_lost: how long a supply that was lost
    with outputs on is waited for [s]. triggers: says when what a shape waits for has come (default: Enter,
    SIGUSR1). consent: the person at the bench agrees to outputs that are found on, and to voltages that stand
    there before. hands: asks a person to make the settings that no command makes, before anything is on; left
    out: a run that needs one is ended. proofs: what was proved of dialects (default: what the user's folder
    keeps). requests: what is asked of one input while it is powered. Raises RunRefused where the run may not
    begin; from the first question on, whatever happens comes back as an outcome, which says what was read to
    be off and what was not.
    """
    _refuse(documents, set_points, findings, folder)
    try:
        proofs = read_proofs() if proofs is None else proofs
    except ProofFileError as error:
        raise RunRefused(str(error)) from None
    plan = plan_of(documents, set_points)
    try:
        link = link or ProcessLink()
    except OSError as error:
        raise RunRefused(_not_begun(folder, GuardLost(f"it cannot be started: {error}"))) from None
    with ExitStack() as not_begun:
        not_begun.callback(link.close)
        try:
            open_session = open_guarded(link, trace, timeout)
            rig = Rig(documents.bench, set_points, open_session, link.now)
        except DialectError as error:
            raise RunRefused(str(error)) from None
        started = dt.datetime.now().astimezone()
        about = describe_run(documents, set_points, unit=unit, operator=operator, started=started, plan=plan)
        at = {name: feed.sense for name, feed in set_points.items()}
        documents.check_recordings()
        try:
            folder.mkdir(parents=True, exist_ok=True)
            # Before anything else is written there: of two runs into one folder, one alone makes the log.
            log = open_log(folder / LOG)
            held = not_begun.enter_context(ExitStack())
            held.enter_context(going_on(folder / LOG))
            with _gone_on_failure(log, folder / LOG):
                run_folder = RunFolder.create(folder, documents, settings or {}, about)
                link.keep_journal(folder / GUARD_LOG, folder / RESERVE)
        except GuardLost as error:
            raise RunRefused(_not_begun(folder, error)) from None
        except OSError as error:
            raise FolderRefused(_not_begun(folder, error)) from None
        going = held.pop_all()
        not_begun.pop_all()
    recorder = RunRecorder(log, progress or Progress(), dict(at), link)
    triggers = triggers or Triggers()
    multimeters = Multimeters(documents, link, open_session, recorder)
    relays = RunRelays(documents, set_points, link, open_session, recorder)
    conduct = Conduct(
        documents,
        plan,
        rig,
        recorder,
        link,
        stop or StopRequest(),
        multimeters,
        relays,
        decay_limit=decay_limit,
        wait_for_lost=wait_for_lost,
        triggers=triggers,
        trace=trace,
        consent=consent,
        hands=hands,
        proofs=proofs,
        requests=requests,
    )
    spans = [span.name for span in plan.spans]
    # With the clock, what the guard tells of the end of a run that was killed finds its place in the record.
    recorder.write(lines.RUN, id=about["run"], started=started.isoformat(), clock=recorder.zero, spans=spans)
    try:
        with signals_ask(conduct.stop), signal_triggers(triggers):
            ended, cause = conduct.go()
        recorder.write(lines.END, time=recorder.now(), ended=ended, cause=cause)
    finally:
        recorder.close()
        if stop is None:
            conduct.stop.close()
    if recorder.failed is not None and ended in AS_REQUIRED:
        ended, cause = Ended.RECORD, f"the record could not be written: {recorder.failed}"
    outcome = conduct.outcome(run_folder.path, str(about["run"]), ended, cause)
    identities = {name: supply.identity for name, supply in rig.supplies.items()}
    identities |= {name: meter.identity for name, meter in multimeters.drivers.items()}
    identities |= {name: each.identity for name, each in relays.drivers.items()}
    proved = [need.as_data() for need in rig.proof_needs]
    unwritten = run_folder.finish(outcome, identities, conduct.began, recorder, proved)
    going.close()
    cautions = [f"the run folder is not whole: {line}" for line in unwritten]
    return replace(outcome, cautions=(*outcome.cautions, *cautions))


@contextmanager
def _gone_on_failure(log: LineLog, path: Path) -> Iterator[None]:
    """A log that no run will write is closed, and is no record that stands in the way of the next run."""
    try:
        yield
    except BaseException:
        log.close()
        with suppress(OSError):
            path.unlink()
        raise


def _not_begun(folder: Path, error: OSError | GuardLost) -> str:
    """Why the record or the guard cannot be had, and what to do."""
    if isinstance(error, GuardLost):
        return f"no run without a guard, and {error}: begin again"
    why = error.strerror or str(error)
    return f"{folder}: expected a place that takes the record of the run, got '{why}': name another folder"


def _refuse(documents: Documents, set_points: SetPoints, findings: Sequence[Finding], folder: Path) -> None:
    reasons = [f"{f.where or ''}: {f.rule}: {f.why}".lstrip(": ") for f in findings if f.blocks]
    hooked_up = documents.procedure.hook_up
    reasons += [f"{name}: hooked up, but without set points" for name in hooked_up if name not in set_points]
    taken = folder.exists() and (not folder.is_dir() or any(folder.iterdir()))
    if taken:
        told = "expected a folder that is not there yet or empty, got one that holds something"
        reasons.append(f"{folder}: {told}")
    if reasons:
        raise (FolderRefused if taken and len(reasons) == 1 else RunRefused)("\n".join(reasons))

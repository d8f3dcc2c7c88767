"""A run, from the first question to the last output off. It prints nothing; `Progress` is told.

Who holds the sessions is behind `open_session`: a guard in a process of its own can stand there.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from railwright.documents.loader import Documents
from railwright.instruments.dialect import DialectError
from railwright.instruments.session import OpenSession, open_visa
from railwright.rehearsal.setpoints import SetPoints
from railwright.rehearsal.timeline import Timeline, build_timeline
from railwright.running.conduct import Conduct
from railwright.running.folder import RunFolder, describe_run
from railwright.running.interruption import StopRequest, signals_ask
from railwright.running.log import Log
from railwright.running.outcome import Ended, Progress, RunOutcome, RunRefused
from railwright.running.plan import plan_run
from railwright.running.recorder import LineLog, Recorder
from railwright.running.rig import Rig
from railwright.running.shutdown import DECAY_LIMIT
from railwright.running.waiting import Triggers, signal_triggers
from railwright.settings.delivery import Delivery, deliveries
from railwright.settings.findings import Finding


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
    open_session: OpenSession | None = None,
    stop: StopRequest | None = None,
    open_log: Callable[[Path], LineLog] = Log,
    decay_limit: float = DECAY_LIMIT,
    triggers: Triggers | None = None,
) -> RunOutcome:
    """Play the procedure on the bench's supplies, and record it in `folder`, which must hold nothing yet.

    unit: serial number of the specimen. findings: what the check said; one that blocks refuses the run.
    settings: what the check settled, as data, kept beside the record. stop: asks the run to end, as Ctrl-C
    and SIGTERM do. triggers: says when what a shape waits for has come (default: Enter, SIGUSR1). Raises
    RunRefused where the run may not begin; from the first question on, whatever happens comes back as an
    outcome, all outputs off by then, or a caution says which are not.
    """
    _refuse(documents, set_points, findings, folder)
    timeline = build_timeline(documents.procedure, documents.device)
    delivered = deliveries(documents.procedure, documents.bench, set_points, timeline)
    listings = [each.listing for each in delivered if each.listing is not None]
    plan = plan_run(timeline, set_points, documents.bench, listings)
    plan = replace(plan, notes=(*plan.notes, *_notes(delivered, timeline)))
    try:
        rig = Rig(documents.bench, set_points, open_session or open_visa())
    except DialectError as error:
        raise RunRefused(str(error)) from None
    started = dt.datetime.now().astimezone()
    about = describe_run(documents, set_points, unit=unit, operator=operator, started=started, plan=plan)
    run_folder = RunFolder.create(folder, documents, settings or {}, about)
    at = {name: feed.sense for name, feed in set_points.items()}
    recorder = Recorder(open_log(run_folder.log_path), progress or Progress(), dict(at))
    triggers = triggers or Triggers()
    conduct = Conduct(documents, plan, rig, recorder, stop or StopRequest(), decay_limit, triggers)
    recorder.write("run", id=about["run"], started=started.isoformat(), spans=[s.name for s in plan.spans])
    with signals_ask(conduct.stop), signal_triggers(triggers):
        ended, cause = conduct.go()
    recorder.write("end", time=recorder.now(), ended=ended, cause=cause)
    recorder.close()
    if recorder.failed is not None and ended is Ended.COMPLETED:
        ended, cause = Ended.RECORD, f"the record could not be written: {recorder.failed}"
    outcome = conduct.outcome(run_folder.path, str(about["run"]), ended, cause)
    identities = {name: supply.identity for name, supply in rig.supplies.items()}
    unwritten = run_folder.finish(outcome, identities, conduct.began, recorder)
    cautions = [f"the run folder is not whole: {line}" for line in unwritten]
    return replace(outcome, cautions=(*outcome.cautions, *cautions))


def _notes(delivered: Sequence[Delivery], timeline: Timeline) -> list[str]:
    """What point lists play, and how far that is from what was asked, for the report."""
    return [
        f"{timeline.spans[each.step].name}: {each.input}: played by the outputs' own point list: {each.why}"
        for each in delivered
        if each.listing is not None
    ]


def _refuse(documents: Documents, set_points: SetPoints, findings: Sequence[Finding], folder: Path) -> None:
    reasons = [f"{f.where or ''}: {f.rule}: {f.why}".lstrip(": ") for f in findings if f.blocks]
    hooked_up = documents.procedure.hook_up
    reasons += [f"{name}: hooked up, but without set points" for name in hooked_up if name not in set_points]
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        reasons.append(
            f"{folder}: expected a folder that is not there yet or empty, got one that holds something"
        )
    if reasons:
        raise RunRefused("\n".join(reasons))

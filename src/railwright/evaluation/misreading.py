"""By how much readings mislead: a rehearsal of the procedure, read as a run reads it, against its truth.

The readings of a supply are means over an aperture, as often as the host asks. What happens between them (a
load that hunts, a change within an aperture, stairs in step with the updates) can move a result further than
its budget knows. So can a sum of several outputs' readings, each of a time of its own, while one hands over
to another. In a rehearsal both are there, the truth and what would be read of it.

References
----------
.. [1] JCGM 100:2008, F.2.4.5: an effect that is known and not corrected for enlarges the interval (from
   memory).
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from itertools import chain

from railwright.documents.loader import Documents
from railwright.evaluation.evaluate import results_by_source
from railwright.evaluation.outcome import Misreadings, Result
from railwright.physics.solver import SolverError
from railwright.plan.plan import plan_of
from railwright.plan.set_points import SetPoints
from railwright.plan.timeline import Timeline
from railwright.records.readings import MultimeterReadings
from railwright.rehearsal.handovers import handovers
from railwright.rehearsal.read import Phase, as_read, multimeters_read
from railwright.rehearsal.rehearse import Prediction, rehearse

PHASES = tuple(Phase(number / 8, number * 3 % 8 / 8, 0.75 if number % 2 else 0.25) for number in range(8))
"""Where readings may lie in a record, each part of an interval once for questions and for updates; and how
far apart outputs of a group update, so that each is now the earlier one, now the later one.
"""

BEYOND = 0.1
"""Part of an interval's half by which it may miss what is true: a 95 % interval need not hold all of it."""


def misreadings(documents: Documents, set_points: SetPoints) -> Misreadings:
    """Of each requirement and source how far its interval has to reach further below and above, by a
    rehearsal at nominal values, and of inputs that several outputs feed by some in which these hand over.
    Empty where the circuit cannot be solved.
    """
    plan = plan_of(documents, set_points)
    groups = {name for name, feed in set_points.items() if len(feed.outputs) > 1}
    found: dict[tuple[str, str], tuple[float, float]] = {}
    try:
        played = rehearse(documents, set_points, timeline=plan.played)
        meters = multimeters_read(documents, played.record)
        _widen(found, _of_rehearsal(documents, set_points, plan.timeline, played, meters, set_points))
        for case in handovers(documents, set_points, played.record):
            apart = rehearse(documents, set_points, case, plan.played)
            shown = _of_rehearsal(documents, set_points, plan.timeline, apart, {}, groups)
            _widen(found, _either_way(documents, shown))
    except SolverError:
        return found
    return found


def _either_way(documents: Documents, handed_over: Misreadings) -> Misreadings:
    """The same for either output above the other: what was read too late of the one is then read too early of
    it, and what is too little is too much. But for what only grows.
    """
    grows = {each.name for each in documents.procedure.requires if each.known.only_grows}
    return {key: sides if key[0] in grows else (max(sides),) * 2 for key, sides in handed_over.items()}


# Many: a rehearsal with what it was made of, and what is looked at.
def _of_rehearsal(
    documents: Documents,
    set_points: SetPoints,
    timeline: Timeline,
    played: Prediction,
    meters: Mapping[str, MultimeterReadings],
    inputs: Container[str],
) -> Misreadings:
    """The same by one rehearsal, of the requirements of these inputs."""
    record, every = played.record, documents.procedure.record.every
    exact = results_by_source(documents, set_points, record, {}, inputs)
    read = (as_read(record, documents, set_points, timeline, every, phase, played.shares) for phase in PHASES)
    return misreadings_of(
        exact,
        chain.from_iterable(results_by_source(documents, set_points, each, meters, inputs) for each in read),
    )


def misreadings_of(exact: Iterable[Result], shown: Iterable[Result]) -> Misreadings:
    """The same of results of a rehearsal as it is, and as it is read."""
    true = {each.requirement: each for each in exact}
    found: dict[tuple[str, str], tuple[float, float]] = {}
    for each in shown:
        _widen(found, {(each.requirement, each.source): _misread(true[each.requirement], each)})
    return found


def _widen(found: dict[tuple[str, str], tuple[float, float]], more: Misreadings) -> None:
    """Let what is found reach as far as more does, on each side."""
    for key, (below, above) in more.items():
        if below or above:
            known = found.get(key, (0.0, 0.0))
            found[key] = max(known[0], below), max(known[1], above)


def _misread(exact: Result, shown: Result) -> tuple[float, float]:
    """How far the interval of `shown` has to reach further below and above, so that its middle half holds
    what is exact; 0 where it holds it as it is, or nothing was measured.
    """
    if exact.measured is None or shown.measured is None:
        return 0.0, 0.0
    true, value = exact.measured.value, shown.measured.value
    low, high = shown.measured.low, shown.measured.high
    if true < low - BEYOND * (value - low):
        return (value + low) / 2 - true, 0.0
    if true > high + BEYOND * (high - value):
        return 0.0, true - (value + high) / 2
    return 0.0, 0.0

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
from contextlib import suppress
from itertools import chain

from railwright.documents.loader import Documents
from railwright.evaluation.evaluate import measured_points
from railwright.evaluation.outcome import NONE_KNOWN, Misreadings
from railwright.measures.outcome import Measured
from railwright.physics.solver import SolverError
from railwright.plan.plan import plan_of
from railwright.plan.set_points import SetPoints
from railwright.plan.timeline import Timeline
from railwright.records.readings import MultimeterReadings
from railwright.rehearsal.handovers import handovers
from railwright.rehearsal.read import Phase, as_read, multimeters_read
from railwright.rehearsal.rehearse import Prediction, rehearse

Key = tuple[str, str, int]
"""Of a requirement, a source and a point of its sweep."""

PHASES = tuple(Phase(number / 8, number * 3 % 8 / 8, 0.75 if number % 2 else 0.25) for number in range(8))
"""Where readings may lie in a record, each part of an interval once for questions and for updates; and how
far apart outputs of a group update, so that each is now the earlier one, now the later one.
"""

MANY = 100_000
"""Of so many readings one phase is looked at: their sums hardly hang on it, and each phase takes seconds."""

BEYOND = 0.1
"""Part of an interval's half by which it may miss what is true: a 95 % interval need not hold all of it."""


def misreadings(documents: Documents, set_points: SetPoints) -> Misreadings:
    """Of each requirement, source and point how far its interval has to reach further below and above, by
    a rehearsal at nominal values, and of inputs that several outputs feed by some in which these hand over.
    What cannot be solved is left out.
    """
    if not documents.procedure.requires:
        return NONE_KNOWN
    plan, requires = plan_of(documents, set_points), documents.procedure.requires
    several = {name for name, feed in set_points.items() if len(feed.outputs) > 1}
    groups = several & {each.of for each in requires}
    grows = {each.name for each in requires if each.known.only_grows}
    found: dict[Key, tuple[float, float]] = {}
    with suppress(SolverError):
        played = rehearse(documents, set_points, timeline=plan.played)
        meters = multimeters_read(documents, played.record)
        _widen(found, _of_rehearsal(documents, set_points, plan.timeline, played, meters, set_points))
        for case in handovers(documents, set_points, played.record) if groups else ():
            apart = rehearse(documents, set_points, case, plan.played)
            handed = _of_rehearsal(documents, set_points, plan.timeline, apart, {}, groups)
            # With the other output above it is the other way round, but for what only grows.
            either = {key: sides if key[0] in grows else (max(sides),) * 2 for key, sides in handed.items()}
            _widen(found, either)
    return found


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
    exact = {
        (name, point): measured
        for (name, _, point), measured in measured_points(documents, set_points, record, {}, inputs).items()
    }
    phases = PHASES if timeline.duration < MANY * every else PHASES[:1]
    read = (as_read(record, documents, set_points, timeline, every, phase, played.shares) for phase in phases)
    shown = (measured_points(documents, set_points, each, meters, inputs) for each in read)
    return misreadings_of(exact, chain.from_iterable(each.items() for each in shown))


def misreadings_of(
    exact: Mapping[tuple[str, int], Measured], shown: Iterable[tuple[Key, Measured]]
) -> Misreadings:
    """The same of what is measured in a rehearsal as it is, and as it is read."""
    found: dict[Key, tuple[float, float]] = {}
    for key, measured in shown:
        if (true := exact.get((key[0], key[2]))) is not None:
            _widen(found, {key: _misread(true.value, measured)})
    return found


def _widen(found: dict[Key, tuple[float, float]], more: Misreadings) -> None:
    """Let what is found reach as far as more does, on each side."""
    for key, (below, above) in more.items():
        if below or above:
            known = found.get(key, (0.0, 0.0))
            found[key] = max(known[0], below), max(known[1], above)


def _misread(true: float, shown: Measured) -> tuple[float, float]:
    """How far the interval of `shown` has to reach further below and above, so that its middle half holds
    what is true; 0 where it holds that as it is.
    """
    value, low, high = shown.value, shown.low, shown.high
    if true < low - BEYOND * (value - low):
        return (value + low) / 2 - true, 0.0
    if true > high + BEYOND * (high - value):
        return 0.0, true - (value + high) / 2
    return 0.0, 0.0

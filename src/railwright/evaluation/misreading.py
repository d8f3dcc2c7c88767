"""By how much readings mislead: a rehearsal of the procedure, read as a run reads it, against its truth.

The readings of a supply are means over an aperture, as often as the host asks. What happens between them (a
load that hunts, a change within an aperture, stairs in step with the updates) can move a result further than
its budget knows. In a rehearsal both are there, the truth and what would be read of it.

References
----------
.. [1] JCGM 100:2008, F.2.4.5: an effect that is known and not corrected for enlarges the interval (from
   memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import chain

from railwright.documents.loader import Documents
from railwright.evaluation.evaluate import measured_points
from railwright.evaluation.outcome import NONE_KNOWN, Misreadings
from railwright.measures.outcome import Measured
from railwright.physics.solver import SolverError
from railwright.plan.plan import plan_of
from railwright.plan.set_points import SetPoints
from railwright.rehearsal.read import Phase, as_read, multimeters_read
from railwright.rehearsal.rehearse import rehearse

PHASES = tuple(Phase(number / 8, number * 3 % 8 / 8) for number in range(8))
"""Where readings may lie in a record, each part of an interval once for questions and for updates."""

MANY = 100_000
"""Of so many readings one phase is looked at: their sums hardly hang on it, and each phase takes seconds."""

BEYOND = 0.1
"""Part of an interval's half by which it may miss what is true: a 95 % interval need not hold all of it."""


def misreadings(documents: Documents, set_points: SetPoints) -> Misreadings:
    """Of each requirement, source and point how far its interval has to reach further below and above, by
    a rehearsal at nominal values. Empty where the circuit cannot be solved.
    """
    if not documents.procedure.requires:
        return NONE_KNOWN
    plan = plan_of(documents, set_points)
    try:
        record = rehearse(documents, set_points, timeline=plan.played).record
    except SolverError:
        return NONE_KNOWN
    exact = {
        (name, point): measured
        for (name, _, point), measured in measured_points(documents, set_points, record, {}).items()
    }
    meters, every = multimeters_read(documents, record), documents.procedure.record.every
    phases = PHASES if plan.timeline.duration < MANY * every else PHASES[:1]
    read = (as_read(record, documents, set_points, plan.timeline, every, phase) for phase in phases)
    shown = (measured_points(documents, set_points, each, meters) for each in read)
    return misreadings_of(exact, chain.from_iterable(each.items() for each in shown))


def misreadings_of(
    exact: Mapping[tuple[str, int], Measured], shown: Iterable[tuple[tuple[str, str, int], Measured]]
) -> Misreadings:
    """The same of what is measured in a rehearsal as it is, and as it is read."""
    found: dict[tuple[str, str, int], tuple[float, float]] = {}
    for key, measured in shown:
        name, _, point = key
        true = exact.get((name, point))
        below, above = (0.0, 0.0) if true is None else _misread(true.value, measured)
        if below or above:
            known = found.get(key, (0.0, 0.0))
            found[key] = max(known[0], below), max(known[1], above)
    return found


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

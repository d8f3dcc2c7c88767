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

from collections.abc import Iterable
from itertools import chain

from railwright.documents.loader import Documents
from railwright.evaluation.evaluate import evaluate, results_by_source
from railwright.evaluation.outcome import NONE_KNOWN, Misreadings, Result
from railwright.physics.solver import SolverError
from railwright.plan.plan import plan_of
from railwright.plan.set_points import SetPoints
from railwright.rehearsal.read import Phase, as_read, multimeters_read
from railwright.rehearsal.rehearse import rehearse

PHASES = tuple(Phase(number / 8, number * 3 % 8 / 8) for number in range(8))
"""Where readings may lie in a record, each part of an interval once for questions and for updates."""

BEYOND = 0.1
"""Part of an interval's half by which it may miss what is true: a 95 % interval need not hold all of it."""


def misreadings(documents: Documents, set_points: SetPoints) -> Misreadings:
    """Of each requirement and source how far its interval has to reach further below and above, by a
    rehearsal at nominal values. Empty where the circuit cannot be solved.
    """
    plan = plan_of(documents, set_points)
    try:
        record = rehearse(documents, set_points, timeline=plan.played).record
    except SolverError:
        return NONE_KNOWN
    exact = evaluate(documents, set_points, record).results
    meters, every = multimeters_read(documents, record), documents.procedure.record.every
    read = (as_read(record, documents, set_points, plan.timeline, every, phase) for phase in PHASES)
    return misreadings_of(
        exact, chain.from_iterable(results_by_source(documents, set_points, each, meters) for each in read)
    )


def misreadings_of(exact: Iterable[Result], shown: Iterable[Result]) -> Misreadings:
    """The same of results of a rehearsal as it is, and as it is read."""
    true = {each.requirement: each for each in exact}
    found: dict[tuple[str, str], tuple[float, float]] = {}
    for each in shown:
        below, above = _misread(true[each.requirement], each)
        if below or above:
            known = found.get((each.requirement, each.source), (0.0, 0.0))
            found[each.requirement, each.source] = max(known[0], below), max(known[1], above)
    return found


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

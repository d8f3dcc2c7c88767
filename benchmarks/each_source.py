"""What every record would say of every requirement by itself, where `evaluate` takes the best of them."""

from __future__ import annotations

from collections.abc import Sequence

from railwright.documents.loader import Documents
from railwright.evaluation.ending import COMPLETED
from railwright.evaluation.evaluate import _aligned, _case, _from_source, _own
from railwright.evaluation.outcome import NONE_KNOWN, Result
from railwright.plan.set_points import SetPoints
from railwright.traces import Record


def each_source(
    documents: Documents, set_points: SetPoints, record: Record, external: Sequence[Record]
) -> tuple[tuple[Result, ...], ...]:
    """The results of each record alone, the run's own first; raises as `evaluate` does."""
    own = _own(documents.bench, set_points, record)
    case = _case(documents, own, COMPLETED, NONE_KNOWN)
    sources = [own, *(_aligned(documents.bench, set_points, each, own)[0] for each in external)]
    wanted = documents.procedure.requires
    return tuple(tuple(_from_source(case, each, source) for each in wanted) for source in sources)

"""The reference of the measures (docs/measures.md), written from the docstrings of their functions.

`python -m railwright.evaluation.reference docs/measures.md` writes it. A docstring begins with what the
measure is, and has a paragraph of `Computed:`, `Window:`, `Uncertainty:` and `Standard:`.
"""

from __future__ import annotations

import inspect
import re
import sys
from collections.abc import Callable
from pathlib import Path

from railwright.measures import MEASURES
from railwright.measures.outcome import Measured
from railwright.measures.signal import View

FIELDS = ("Computed", "Window", "Uncertainty", "Standard")

_OPENING = """# The measures

Written from the measures by `python -m railwright.evaluation.reference docs/measures.md`; do not edit.

What a requirement can name as `measure`, and what is worked out then. All have in common:

- **Values.** A supply's reading is the mean over an aperture that ended between its `update` interval
  before it was handed over and that instant (`latency` already taken off); a recorder's sample is the value
  at its instant; a rehearsal's trace is exact. Voltages are those at the connector, or at the supply's
  terminals with `at: terminals`; one that was measured at the lead's other end is carried over by the
  resistance of lead and fixture, and by what a diode in it drops, which is taken to conduct.
- **Window.** The step named by `during`. With `each_point: worst` the measure is taken at each point of a
  sweep, from the second half of the time spent there (the voltage settles in the first), and the point
  whose interval comes nearest to a limit, or goes farthest beyond it, decides.
- **Played to its end, and in time.** A step that was cut short, or not reached, makes its requirements
  inconclusive; only what nothing later could mend stays failed: a peak or a number of restarts above its
  limit, and a point of a sweep that was played to its end. A step whose set points came late by more than a
  tenth of its shortest segment or dwell (the usual tolerance of durations), and more than 2 ms, makes its
  requirements inconclusive, failed ones too, and so does one of whose set points some were left out because
  the host did not keep up. Of a point list that the supply times itself only the start can be late, and
  its segment is the step. A run that ended early, or was not confirmed off, is no pass as a whole. A trip
  that a requirement asks for is no early end: what the supply does, and peaks, are judged in its step up
  to the trip, and requirements of steps after it are not judged.
- **Uncertainty.** The value comes with the interval that holds 95 % of the distribution of its errors,
  which are convolved as they are distributed (JCGM 100, JCGM 101). Where a contribution has degrees of
  freedom (the bench gives `degrees_of_freedom` or `doubt` of a bound, or noise is estimated from the record)
  it counts as normally distributed, and the interval is widened as Student's t is wider than the normal
  distribution, at the effective degrees of freedom (JCGM 100, annex G): ±t(ν_eff) u_c, unless bounds without
  degrees of freedom have a part in it. Into every measure go, for each
  instrument, the gain, offset and resolution of its readings as bounds that are the same for all values of
  a run, the `noise` of single readings, and the resistance of the lead where a voltage is carried over it.
  Instants are those at which set points really came, as the run recorded them; within what these are known
  (half an exchange, or the skew between outputs) goes into 'time of the readings'.
  What a measure adds is listed beside it.
- **Compared with a rehearsal.** The evaluation of a run also rehearses its procedure at nominal values, and
  reads the rehearsal as the run was read: with polls and updates at eight phases (a start-up time at 64), at
  fewer of more than 100 000 readings, and not at all of more than two million, which a note says. Where the
  interval of these readings misses the rehearsal's true value (a load that hunts between them, set points in
  step with the updates), the run's interval is widened on that side, so far that in the rehearsal it would
  reach beyond the true value by a quarter of its former width and a tenth of what was missed. A load that
  hunts is also read at updates that cover the same part of each of its cycles, and outputs that feed an input
  together are rehearsed while they hand over. What a recorder says is not changed.
- **Contradictions.** Where two records of one quantity differ by more than both may be off, one of them is
  wrong, and nobody knows which or since when: what rests on either is inconclusive. Ranges of three values in
  a row and more are compared, so that what falls between the readings or the samples is no contradiction;
  voltages at the two ends of a lead differ by its drop, and an output that is off is not compared. An output
  in CV whose readings do not stand at its set point contradicts that: what it reads of the input then decides
  nothing. An input that draws less than half of what its loads draw at least, by the device document, has a
  lead that is open, or does not run: a voltage read at the terminals then tells nothing of its connector.
- **Decision.** By the procedure's `decision` (JCGM 106). What readings cannot see never passes an upper
  limit.

"""


def definition(measure: Callable[[View], Measured]) -> dict[str, str]:
    """What a measure is ('Measure') and each of FIELDS, from its docstring; ValueError where one lacks."""
    text = inspect.getdoc(measure) or ""
    parts = re.split(rf"^({'|'.join(FIELDS)}): ", text, flags=re.MULTILINE)
    found = {"Measure": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}
    found = {name: " ".join(words.split()) for name, words in found.items()}
    missing = [name for name in ("Measure", *FIELDS) if not found.get(name)]
    if missing:
        raise ValueError(f"the docstring of measure '{measure.__name__}' lacks {', '.join(missing)}")
    return found


def reference() -> str:
    """The whole reference as Markdown."""
    rows = [
        f"| measure | unit | {' | '.join(field.lower() for field in ('what', *FIELDS))} |\n",
        f"| {' | '.join(['---'] * (len(FIELDS) + 3))} |\n",
    ]
    for name, measure in MEASURES.items():
        found = definition(measure.compute)
        unit = "a number" if measure.unit == "1" else measure.unit
        cells = [found[field].replace("|", "\\|") for field in ("Measure", *FIELDS)]
        rows.append(f"| `{name}` | {unit} | {' | '.join(cells)} |\n")
    return _OPENING + "".join(rows)


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(reference(), encoding="utf-8")

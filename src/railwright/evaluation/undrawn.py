"""Whether an input draws far less than its device document says: then nothing shows that its lead conducts.

A voltage that is read at the terminals is that of the connector less the lead's drop, as long as the lead
conducts. Of one that is open, or of a device that does not run, the readings show a set point that is held,
and next to no current.
"""

from __future__ import annotations

import math

import numpy as np

from railwright.documents.device import Device
from railwright.evaluation.beside_set_point import FEWEST_BESIDE, settled_at
from railwright.evaluation.contradiction import place_of, shown_by
from railwright.evaluation.outcome import DOCUMENT, Contradiction
from railwright.evaluation.views import EXACT, Case, given, open_leads, settled_levels
from railwright.measures.outcome import CannotMeasure
from railwright.plan.off_order import held_voltage
from railwright.traces import VOLTAGES

FAR = 0.5
"""Less than this part of the least that its document has is far less (chosen): what a lead drops, or a load
that is a little lighter than it should be, is none.
"""


def undrawn(case: Case) -> tuple[Contradiction, ...]:
    """Of each input whose voltage is read at the terminals where it draws least beside its document."""
    found = (_of(case, name) for name in case.own.record.traces)
    return tuple(each for each in found if each is not None)


def _of(case: Case, name: str) -> Contradiction | None:
    """Where readings in a row show far less than the loads draw at the set point at which the input stands by
    then; None: nowhere, or the voltage is sensed at the connector, or the documents say too little.
    """
    source, device = case.own, case.documents.device
    if source.record.origin in EXACT or name not in source.feeds or held_voltage(device, name) is not None:
        return None
    if device.inputs[name].inside is not None:
        return None  # what lies before its loads may keep the voltage from them
    try:
        if place_of(source, name) == "connector":
            return None
        drawn = shown_by(source, name, "current", "terminals", ())
        volts = shown_by(source, name, "voltage", "terminals", ())
    except (CannotMeasure, KeyError):
        return None
    if VOLTAGES[1] not in source.record.traces[name].columns or drawn.time.size != volts.time.size:
        return None
    if not math.isfinite(drawn.reach):
        return None
    starts = max((each.high for each in given(device, name, "soft_start")), default=0.0)
    opened = open_leads(case, name)
    worst: Contradiction | None = None
    for begins, ends, level, change in settled_levels(case, name):
        least = least_drawn(device, name, level)
        settled = settled_at(case, name, begins, change, drawn.reach) + starts
        inside = (drawn.time > settled) & (drawn.time < ends - 2.0 * drawn.reach - drawn.interval)
        for start, end in opened:
            inside &= (drawn.time < start - 2.0 * drawn.reach) | (drawn.time > end + 2.0 * drawn.reach)
        # Where its supply does not hold the set point, it may draw less, or nothing.
        inside &= np.abs(volts.values - level) < (1.0 - FAR) * abs(level)
        rows = np.flatnonzero(inside)
        if least <= 0.0 or rows.size < FEWEST_BESIDE:
            continue
        most = (drawn.values + drawn.error)[rows]
        if float(np.max(most)) >= FAR * least:
            continue
        at = int(rows[np.argmin(drawn.values[rows])])
        first, last = float(drawn.time[rows[0]]), float(drawn.time[rows[-1]])
        if worst is None or least > worst.shown[1]:
            shown, error = (float(drawn.values[at]), least), float(drawn.error[at])
            worst = Contradiction(
                name, "current", (source.name, DOCUMENT), shown, error, float(drawn.time[at]), first, last
            )
    return worst


def least_drawn(device: Device, name: str, volts: float) -> float:
    """The least that an input's loads draw at a voltage at which they have come to rest [A], by the device
    document: 0 where it may be none.
    """
    from railwright.physics.loads import KINDS
    from railwright.physics.loads.law import high, low

    least = 0.0
    for part in device.inputs[name].load:
        kind, starts = KINDS[part.kind], part.parameters.uncertain().get("starts_at")
        if part.enabled_by is not None or (starts is not None and volts <= starts.high):
            continue
        draws, law = getattr(kind.equations, "draws", None), kind.equations.current
        ends = []
        for choose in (low, high):
            values, _ = part.parameters.floats(choose)
            own = [*(values[field] for field in kind.parameters), *part.parameters.table()]
            if draws is not None:
                ends.append(min(draws(volts, own)))
            else:  # no state is a part of its current, or it would have `draws`
                states, flags = [0.0] * len(kind.states), list(kind.flags_at_start)
                ends.append(float(law(volts, 0.0, own, states, flags)))
        least += max(0.0, min(ends))
    return least

"""Rules that need a rehearsal, one function each; `REHEARSED_RULES` is the list. numpy is imported when they
look.
"""

from __future__ import annotations

from railwright.settings.rehearsed import operation, relays, standards, trips, voltages
from railwright.settings.rehearsed.view import Rehearsed
from railwright.settings.rule import Rule

REHEARSED_RULES: tuple[Rule[Rehearsed], ...] = (
    trips.trips,
    trips.fuse,
    trips.fuse_pulse,
    trips.parallel_trip,
    trips.trip_delay_margin,
    trips.stop_conditions,
    trips.charge_limits,
    trips.hold_never,
    trips.hold_at_once,
    relays.relay_waits,
    relays.closing_surge,
    relays.contact_making_current,
    operation.restarts_for_ever,
    operation.hangs_low,
    operation.not_settled,
    operation.not_reached,
    operation.steady_current,
    operation.order,
    standards.standard_start,
    standards.standard_missed,
    operation.not_rehearsed,
    operation.assumed,
    voltages.withstand,
    voltages.never,
    voltages.requirement_predicted,
    voltages.requirement_close,
    voltages.peak_brief,
)

"""What counts as off: judged by what was read of an input's outputs, in one place for guard and run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from railwright.guard.off_plan import InputOff, Look


@dataclass(frozen=True, slots=True)
class OffJudgement:
    """missing: what is missing for it to count as off; empty where nothing is. off: every output says so.
    voltage [V], current [A]: of the input, as read. fallen: its voltage has. holds: voltage [V] that the
    device keeps.
    """

    missing: str
    off: bool
    voltage: float
    current: float
    fallen: bool = False
    holds: float | None = None


def judge_off(each: InputOff, looks: Sequence[Look]) -> OffJudgement:
    """looks: of each of its outputs, in their order."""
    voltages = [look.voltage for look in looks]
    voltage = sum(voltages) if each.series else max(voltages, key=abs)
    current = max((look.current for look in looks), key=abs)
    on = [output.name for output, look in zip(each.outputs, looks, strict=True) if not look.off]
    if on:
        return OffJudgement(f"{', '.join(on)} still says that it is on", False, voltage, current)
    # Outputs in series whose voltages cancel are none that have fallen.
    highest = max(abs(voltage), *(abs(one) for one in voltages))
    fallen = highest < each.below
    for output, look in zip(each.outputs, looks, strict=True):
        # Where the device holds a voltage, the output's bleeder takes some current from it.
        if not -output.no_current - output.bleeds <= look.current <= output.no_current:
            told = f"{output.name} says off, and {look.current:.4g} A flow"
            return OffJudgement(told, True, voltage, current, fallen)
    if fallen:
        return OffJudgement("", True, voltage, current, fallen)
    if each.holds is not None and abs(voltage) <= each.holds[1] + each.below:
        return OffJudgement("", True, voltage, current, fallen, voltage)
    standing = highest if each.holds is None else voltage
    told = f"it says off, and {standing:.4g} V stand there ({each.below:.3g} V count as off)"
    return OffJudgement(told, True, voltage, current, fallen)

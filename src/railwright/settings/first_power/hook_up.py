"""The hook-up of a first power-up: that of a procedure; where none is given, what `hook_up: auto` makes."""

from __future__ import annotations

from collections.abc import Mapping

from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.hook_up import AUTO, HookUp
from railwright.documents.loader import Documents
from railwright.documents.procedure import Procedure
from railwright.documents.translate import validated
from railwright.settings.first_power.figures import NotPossible
from railwright.settings.hookup import hooked_up


def hook_up_of(device: Device, bench: Bench, given: Procedure | None) -> Mapping[str, HookUp]:
    """What feeds each input of the device, written out. NotPossible where something cannot be worked out."""
    procedure = given if given is not None else _anything(device)
    hooked = hooked_up(Documents(device, bench, procedure.for_inputs(device.inputs)))
    if hooked.findings:
        raise NotPossible("\n".join(f"{each.why}; {each.remedy}" for each in hooked.findings))
    return hooked.documents.procedure.hook_up


def _anything(device: Device) -> Procedure:
    """A procedure that powers every input to its nominal voltage, and asks for no more."""
    limits = {"current_limit": AUTO, "at_limit": "regulate", "ovp": AUTO}
    return validated(
        Procedure,
        {
            "procedure": "first power",
            "device": "device",
            "bench": "bench",
            "hook_up": AUTO,
            "limits": dict.fromkeys(device.inputs, limits),
            "steps": [{"power_up": {"order": list(device.inputs)}}],
            "record": {"every": "10 ms"},
        },
    )

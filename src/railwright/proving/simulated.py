"""The bench as it is proved, simulated: one output through one lead into an electronic load."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from railwright.documents.bench import Bench, ElectronicLoad
from railwright.documents.device import Device, Input
from railwright.documents.hook_up import HookUp
from railwright.documents.output_name import OutputName
from railwright.documents.procedure import Procedure
from railwright.documents.translate import validated
from railwright.guard.local_link import LocalLink
from railwright.twin.faults import TwinFault
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

COMPLIANCE = 1.0
"""Voltage below which a load cannot draw what is set, where the bench does not say [V]."""

LEAST = "1 uA"
"""What its document has to say that it draws; the simulated load says what it does."""

AT_ITS_INPUT = {"capacitance": "1 uF", "esr": "100 mohm"}
"""What stands at the input of a simulated load, beside what it draws (assumed)."""


class NotSimulated(Exception):
    """A place that cannot be simulated as it is asked for; one line for people."""


# Many: what is simulated, and what is true of it.
@contextmanager
def simulated_place(
    bench: Bench,
    output: OutputName,
    lead: str,
    load: str,
    *,
    seed: int = 1,
    overrides: Mapping[str, str] | None = None,
    faults: Sequence[TwinFault] = (),
    connected: bool = True,
) -> Iterator[tuple[LocalLink, VirtualNetwork]]:
    """A guard and the bench's simulated instruments, with the output through the lead at the load; sense
    leads go there where the output has them. The lead's end is called as the lead is.

    connected: else the load lies beside the bench, and nothing is connected. Raises NotSimulated.
    """
    device, procedure = _documents(bench.electronic_loads[load], output, lead)
    given = {name: text for name, text in (overrides or {}).items() if _is_here(name, bench, lead)}
    loop = VirtualLoop()
    there = (device, procedure) if connected else (None, None)
    own = [fault for fault in faults if lead in fault.inputs] if connected else []
    loaded = {load: lead} if connected else {}
    try:
        made = VirtualNetwork(loop, bench, *there, seed=seed, overrides=given, faults=own, loaded=loaded)
    except ValueError as error:
        raise NotSimulated(str(error)) from None
    with made as network:
        link = LocalLink(loop, network.connect)
        try:
            yield link, network
        finally:
            link.close()


def _is_here(name: str, bench: Bench, lead: str) -> bool:
    """Whether a true parameter is one of this place: of another lead it is not."""
    return name.startswith(f"{lead}.") or not any(name.startswith(f"{each}.") for each in bench.leads)


def _documents(load: ElectronicLoad, output: OutputName, lead: str) -> tuple[Device, Procedure]:
    """The load as a device with one input, and the procedure that hooks it up."""
    compliance = COMPLIANCE if load.compliance is None else load.compliance
    constant = {"current": LEAST, "compliance": f"{compliance} V"}
    given = validated(
        Input,
        {
            "nominal": "5 V",
            "operating": "1 V .. 6 V",
            "return": "isolated",
            "load": [{"constant_current": constant}, {"capacitor": AT_ITS_INPUT}],
        },
    )
    hook_up = HookUp.model_validate({"from": str(output), "lead": lead, "sense": "at load"})
    device = Device.model_construct(device="electronic load", inputs={lead: given})
    # Wired as that says; nothing of it is played.
    given_of_it: dict[str, Any] = {"procedure": "prove", "hook_up": {lead: hook_up}}
    return device, Procedure.model_construct(**given_of_it)

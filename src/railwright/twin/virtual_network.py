"""All supplies of a bench in one process and in virtual time, reached by their addresses over real SCPI text.

The connections are in memory and the clock is the loop's: run, guard and twins play in one `VirtualLoop`, and
two seconds of a bench take as long as their arithmetic. Physics goes on only when a message comes or somebody
looks; what was due meanwhile happens at its own instant.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np

from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.output_name import OutputName
from railwright.documents.procedure import Procedure
from railwright.guard.address import hislip_of
from railwright.guard.hislip import open_hislip
from railwright.guard.session_settings import USUAL, SessionSettings
from railwright.guard.wire import Streams as WireStreams
from railwright.traces import Event, Record, Traces
from railwright.twin.beside import supply_beside
from railwright.twin.electronic_load import ElectronicLoadServer, TwinElectronicLoad
from railwright.twin.faults import TwinFault
from railwright.twin.hands import set_at_panel
from railwright.twin.mischief.layer import Act
from railwright.twin.mischief.script import Mischief
from railwright.twin.multimeter import MultimeterServer, simulated
from railwright.twin.plant import KEEP, Plant
from railwright.twin.recorder import Trigger, write_capture
from railwright.twin.relays import RelaysServer, simulated_relays
from railwright.twin.server import ReplyTime, SupplyServer
from railwright.twin.supply import TwinSupply
from railwright.twin.truth import Truth, truth_data
from railwright.virtual_time import Streams, VirtualLoop

WARM = 0.2
"""Simulated time for which the supplies have been on before anyone connects [s]: their meters run."""


class VirtualNetwork:
    """The simulated supplies of a bench on `loop`; a context manager.

    device, procedure, seed, overrides, faults, mischief, reply_times: as for `TwinBench`. latency: how long
    data is on its way [s]. keep: how long true traces are kept [s]. loaded: electronic load -> the input at
    which it hangs, whose first load is a constant current; the others lie beside the bench. servers: supply
    -> its server. Raises WiringError where the bench cannot be simulated, ValueError for an override without
    a parameter.
    """

    # Many: what a bench of twins is made of.
    def __init__(
        self,
        loop: VirtualLoop,
        bench: Bench,
        device: Device | None = None,
        procedure: Procedure | None = None,
        *,
        seed: int = 1,
        overrides: Mapping[str, str] | None = None,
        faults: Sequence[TwinFault] = (),
        mischief: Sequence[Mischief] = (),
        reply_times: Mapping[str, ReplyTime] | None = None,
        latency: float = 1e-4,
        keep: float = KEEP,
        loaded: Mapping[str, str] | None = None,
    ) -> None:
        self.loop, self.bench, self.latency = loop, bench, latency
        self.parameters = Truth(seed, overrides)
        self.servers: dict[str, SupplyServer] = {}
        for name, document in bench.supplies.items():
            plant = Plant(name, bench, device, procedure, self.parameters, keep=keep, faults=faults)
            supply = TwinSupply(name, document, plant)
            supply.advance(WARM)
            self.servers[name] = SupplyServer(
                supply,
                loop.now,
                reply_time=(reply_times or {}).get(name),
                mischief=[each for each in mischief if each.supply == name],
                seed=seed,
                longest_lag=math.inf,
            )
        self.multimeters = {name: self._multimeter(name, procedure, faults) for name in bench.multimeters}
        """Multimeter -> its server."""
        self._server_of = {
            output: server for server in self.servers.values() for output in server.supply.plant.outputs
        }
        self.loads: dict[str, ElectronicLoadServer] = {}
        for name, written in bench.electronic_loads.items():
            made = TwinElectronicLoad(name, written, self.parameters)
            there = (loaded or {}).get(name)
            server = next((s for s in self.servers.values() if there in s.supply.plant.input_history), None)
            if there is not None and server is not None:
                made.connect_to(server.supply.plant, there)
            self.loads[name] = ElectronicLoadServer(made, self._catch_up)
        self.relays: dict[str, RelaysServer] = {
            name: simulated_relays(
                name,
                device,
                bench,
                procedure,
                faults,
                [server.supply.plant for server in self.servers.values()],
                self._catch_up,
            )
            for name in bench.relays
        }
        """Instrument that moves contacts -> its server."""
        unused = self.parameters.unused_overrides()
        if unused:
            raise ValueError(f"there is no true parameter '{unused[0]}'")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    async def connect(self, address: str, session_settings: SessionSettings = USUAL) -> WireStreams:
        """A connection to the instrument at this VISA address, after one way there and back. Raises
        ConnectionRefusedError while it takes none, or where there is no instrument.
        """
        await asyncio.sleep(2 * self.latency)
        for name, document in self.bench.supplies.items():
            if _normal(document.address) == _normal(address):
                hislip = hislip_of(address)
                if hislip is None:
                    return self.servers[name].connect(self.latency)
                open_socket = partial(self._open_socket, self.servers[name])
                return await open_hislip(hislip, session_settings.answers, open_socket)
        bench = self.bench
        for documents, servers in (
            (bench.multimeters, self.multimeters),
            (bench.electronic_loads, self.loads),
            (bench.relays, self.relays),
        ):
            for name, wires in documents.items():
                if _normal(wires.address) == _normal(address):
                    return servers[name].connect(self.latency)
        raise ConnectionRefusedError(f"there is no instrument at {address}")

    def _catch_up(self) -> None:
        for server in self.servers.values():
            server.catch_up()

    async def _open_socket(self, server: SupplyServer, host: str, port: int) -> Streams:
        """One of the connections of a session over HiSLIP."""
        return server.connect(self.latency)

    def close(self) -> None:
        """End every connection; the loop may then be closed."""
        for kind in (self.multimeters, self.servers, self.loads, self.relays):
            for server in kind.values():
                server.close()
        self.loop.complete(asyncio.sleep(0))

    def _multimeter(
        self, name: str, procedure: Procedure | None, faults: Sequence[TwinFault]
    ) -> MultimeterServer:
        beside = self.servers[supply_beside(name, self.bench, procedure)]
        return simulated(name, self.bench, procedure, self.parameters, faults, beside)

    def voltage(self, output: str) -> float:
        """True voltage at the terminals of 'supply.output' now [V]."""
        return self._now(output).state(output)[0]

    def current(self, output: str) -> float:
        """True current out of 'supply.output' now [A]."""
        return self._now(output).state(output)[1]

    def on(self, output: str) -> bool:
        """Whether 'supply.output' is energised: its switch is on in the physics, and no protection has opened
        it. What it says of itself may differ.
        """
        return self._now(output).is_on(output)

    def energised(self, output: str) -> tuple[tuple[float, float | None], ...]:
        """When 'supply.output' was energised: (from, to) on the loop's time [s]; None: it still is."""
        server = self._server_of[output]
        server.catch_up()
        return tuple(server.energised()[output])

    def set_by_hand(self, output: OutputName, setting: str, value: float | bool | str) -> bool:
        """Turn a knob at a supply's panel, as a person would; whether it goes there."""
        server = self.servers[output.supply]
        server.catch_up()
        return set_at_panel(server.supply, output.output, setting, value)

    def acts(self) -> tuple[Act, ...]:
        """What the faults by script have done so far, on the loop's time, in order of time."""
        acts = [act for server in self.servers.values() for act in server.mischief.acts]
        return tuple(sorted(acts, key=lambda act: act.time))

    def truth_data(self) -> dict[str, Any]:
        """What is true behind the supplies, as data: seed, parameters of the circuit, errors of outputs."""
        true = self.parameters
        return truth_data(true.seed, true.parameters, true.errors, true.assumptions.all())

    def record(
        self, recorder: str, trigger: Trigger, path: Path, *, inputs: Iterable[str] | None = None
    ) -> bool:
        """Write what the bench's external recorder has captured since the start to a CSV file; True when a
        complete capture was there. inputs: what its probes are connected to (default: the trigger's input).
        """
        return write_capture(
            recorder,
            self.bench.recorders[recorder],
            self.truth().traces,
            trigger,
            path,
            inputs=inputs,
            seed=self.parameters.seed,
            after=-math.inf,
        )

    def truth(self, since: float = -math.inf) -> Record:
        """True traces of all inputs and events of all supplies from `since` on, on the loop's time [s]."""
        traces: dict[str, Traces] = {}
        events: list[Event] = []
        for server in self.servers.values():
            server.catch_up()
            plant = server.supply.plant
            for name, history in plant.input_history.items():
                time, *columns = history.since(since - server.origin)
                traces[name] = Traces(
                    server.wall_clock(time), dict(zip(history.columns, columns, strict=True))
                )
            times = server.wall_clock(np.array([event.time for event in plant.events]))
            events += [
                replace(event, time=float(time))
                for time, event in zip(times, plant.events, strict=True)
                if time >= since
            ]
        return Record("twin truth", traces, tuple(sorted(events, key=lambda event: event.time)))

    def _now(self, output: str) -> Plant:
        server = self._server_of[output]
        server.catch_up()
        return server.supply.plant


def _normal(address: str) -> str:
    """A VISA address as it is compared: case and the board number 0 make no difference."""
    return address.strip().upper().replace("TCPIP0::", "TCPIP::")

"""The process of one simulated supply: `python -m railwright.twin.process`, started and spoken to by the
launcher.

Standard input: first the order (8 bytes of length, then a pickled `Order`), then one JSON request a line.
Standard output: one JSON answer a line, the first of them when the supply is ready. The end of standard input
ends the process: it dies with its parent, however that dies.
"""

from __future__ import annotations

import asyncio
import json
import pickle
import signal
import sys
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.compiled_cache import announce
from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.procedure import Procedure
from railwright.documents.wires import Wires
from railwright.twin.faults import TwinFault
from railwright.twin.hands import set_at_panel
from railwright.twin.mischief.script import Mischief
from railwright.twin.server import ReplyTime, SupplyServer

if TYPE_CHECKING:
    from railwright.twin.messages import BesideServer
    from railwright.twin.plant import Plant
    from railwright.twin.truth import Truth

IGNORED = (
    signal.SIGINT,
    signal.SIGQUIT,
    signal.SIGHUP,
    signal.SIGTSTP,
    signal.SIGTTOU,
    signal.SIGTTIN,
)
"""Whatever ends or stops the program that started it: a supply goes on until its standard input ends."""


@dataclass(frozen=True)
class Order:
    """What one process is to simulate; at_bench: it is to listen at the address of the bench document, else
    at a free one of the same kind.
    """

    supply: str
    bench: Bench
    device: Device | None
    procedure: Procedure | None
    seed: int
    overrides: Mapping[str, str]
    at_bench: bool
    faults: tuple[TwinFault, ...] = ()
    mischief: tuple[Mischief, ...] = ()
    reply_time: ReplyTime = field(default_factory=ReplyTime)
    multimeters: tuple[str, ...] = ()
    """Those whose probes are in its physics."""
    relays: tuple[str, ...] = ()
    """Those whose contacts are in its leads."""


def main() -> int:
    """Read the order, warm up, serve. Returns the exit code."""
    for number in IGNORED:
        signal.signal(number, signal.SIG_IGN)
    source = sys.stdin.buffer
    length = int.from_bytes(source.read(8), "big")
    order: Order = pickle.loads(source.read(length))
    announce(lambda line: print(f"{order.supply}: {line}", file=sys.stderr, flush=True))
    try:
        asyncio.run(_serve(order))
    except _Refused as refused:
        _say({"error": str(refused)})
        return 2
    return 0


class _Refused(Exception):
    """The order cannot be carried out; the text is for people."""


def _say(answer: Mapping[str, Any]) -> None:
    sys.stdout.write(json.dumps(answer) + "\n")
    sys.stdout.flush()


async def _serve(order: Order) -> None:
    from railwright.physics.simulation import warm_up
    from railwright.twin.plant import Plant
    from railwright.twin.supply import TwinSupply
    from railwright.twin.truth import Truth
    from railwright.twin.wiring import WiringError

    truth = Truth(order.seed, order.overrides)
    try:
        plant = Plant(order.supply, order.bench, order.device, order.procedure, truth, faults=order.faults)
        supply = TwinSupply(order.supply, order.bench.supplies[order.supply], plant)
    except WiringError as error:
        raise _Refused(str(error)) from None
    warm_up()  # compiled before anyone is told that the supply is there
    supply.advance(2e-3)  # the first step of this very circuit, too, is taken beforehand
    server = SupplyServer(supply, reply_time=order.reply_time, mischief=order.mischief, seed=order.seed)
    wanted = order.bench.supplies[order.supply].address
    try:
        address = await server.start_at(wanted, at_bench=order.at_bench)
    except OSError as error:
        reason = error.strerror or str(error)
        where = wanted if order.at_bench else "a free address"
        raise _Refused(f"supply '{order.supply}' cannot listen on {where}: {reason}") from None
    beside, addresses = await _serve_beside(order, truth, plant, server)
    _say(
        {
            "ready": True,
            "address": address,
            "beside": addresses,
            "assumptions": [each._asdict() for each in truth.assumptions.all()],
            "parameters": {name: asdict(true) for name, true in truth.parameters.items()},
            "errors": {name: asdict(true) for name, true in truth.errors.items()},
            "unused": truth.unused_overrides(),
            "inputs": list(plant.input_history),
        }
    )
    running = asyncio.ensure_future(server.run())
    requests = asyncio.ensure_future(_requests(server, plant))
    done, _ = await asyncio.wait({running, requests}, return_when=asyncio.FIRST_COMPLETED)
    running.cancel()
    requests.cancel()
    for instrument in beside:
        instrument.close()
    for task in done:
        task.result()


async def _serve_beside(
    order: Order, truth: Truth, plant: Plant, server: SupplyServer
) -> tuple[list[BesideServer], dict[str, str]]:
    """What stands beside the supply: multimeters whose probes are in its physics, relays whose contacts are
    in its leads; and their addresses.
    """
    from railwright.twin.multimeter import simulated
    from railwright.twin.relays import simulated_relays

    bench, procedure = order.bench, order.procedure
    made: list[tuple[str, Wires, BesideServer]] = []
    for name in order.multimeters:
        meter = simulated(name, bench, procedure, truth, order.faults, server)
        made.append((name, bench.multimeters[name], meter))
    for name in order.relays:
        relays = simulated_relays(
            name, order.device, bench, procedure, order.faults, [plant], server.catch_up
        )
        made.append((name, bench.relays[name], relays))
    addresses = dict[str, str]()
    for name, asked, instrument in made:
        try:
            addresses[name] = await instrument.start_at(asked, at_bench=order.at_bench)
        except OSError as error:
            reason = error.strerror or str(error)
            raise _Refused(f"'{name}' cannot listen on {asked.address}: {reason}") from None
    return [instrument for _, _, instrument in made], addresses


async def _requests(server: SupplyServer, plant: Plant) -> None:
    """Answer the launcher until it is gone."""
    reader = asyncio.StreamReader()
    await asyncio.get_running_loop().connect_read_pipe(
        lambda: asyncio.StreamReaderProtocol(reader), sys.stdin
    )
    while line := await reader.readline():
        request = json.loads(line)
        match request["what"]:
            case "traces":
                _say(_write_traces(server, plant, request))
            case "mischief":
                _say({"acts": [asdict(act) for act in server.mischief.acts]})
            case "by hand":
                server.catch_up()
                place = request["output"], request["setting"], request["value"]
                _say({"done": set_at_panel(server.supply, *place)})
            case "energised":
                server.catch_up()
                _say({"energised": server.energised()})


def _write_traces(server: SupplyServer, plant: Plant, request: Mapping[str, Any]) -> dict[str, Any]:
    """True traces of every input since a wall-clock time, on the wall clock, into one file."""
    import numpy as np

    server.catch_up()
    path, since = Path(request["path"]), float(request["since"])
    arrays: dict[str, Any] = {}
    for name, history in plant.input_history.items():
        time, voltage, terminal_voltage, current, mode = history.since(since - server.origin)
        arrays |= {
            f"{name}|time": server.wall_clock(time),
            f"{name}|voltage": voltage,
            f"{name}|terminal_voltage": terminal_voltage,
            f"{name}|current": current,
            f"{name}|mode": mode,
        }
    with path.open("wb") as file:
        np.savez(file, allow_pickle=False, **arrays)
    times = server.wall_clock(np.array([event.time for event in plant.events]))
    events = [
        {**event.as_data(), "time": float(time)} for time, event in zip(times, plant.events, strict=True)
    ]
    return {"events": events, "inputs": list(plant.input_history)}


if __name__ == "__main__":
    sys.exit(main())

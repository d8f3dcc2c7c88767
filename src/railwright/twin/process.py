"""The process of one simulated supply, or of several that share relays: `python -m railwright.twin.process`,
started and spoken to by the launcher.

Standard input: first the order (8 bytes of length, then a pickled `Order`), then one JSON request a line.
Standard output: one JSON answer a line, the first of them when all is ready. The end of standard input ends
the process: it dies with its parent, however that dies.
"""

from __future__ import annotations

import asyncio
import json
import pickle
import signal
import sys
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from functools import partial
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.compiled_cache import announce
from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.procedure import Procedure
from railwright.documents.wires import Wires
from railwright.twin.beside import supply_beside
from railwright.twin.faults import TwinFault
from railwright.twin.hands import set_at_panel
from railwright.twin.mischief.script import Mischief
from railwright.twin.server import ReplyTime, SupplyServer

if TYPE_CHECKING:
    from railwright.twin.messages import BesideServer
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

    supplies: tuple[str, ...]
    bench: Bench
    device: Device | None
    procedure: Procedure | None
    seed: int
    overrides: Mapping[str, str]
    at_bench: bool
    faults: tuple[TwinFault, ...] = ()
    mischief: tuple[Mischief, ...] = ()
    reply_times: Mapping[str, ReplyTime] = field(default_factory=dict)
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
    announce(lambda line: print(f"{', '.join(order.supplies)}: {line}", file=sys.stderr, flush=True))
    from railwright.twin.wiring import GivenValueError

    try:
        asyncio.run(_serve(order))
    except _Refused as refused:
        _say({"error": str(refused), "given": isinstance(refused.__cause__, GivenValueError)})
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

    truth, made = Truth(order.seed, order.overrides), list[TwinSupply]()
    try:
        for name in order.supplies:
            plant = Plant(name, order.bench, order.device, order.procedure, truth, faults=order.faults)
            made.append(TwinSupply(name, order.bench.supplies[name], plant))
    except WiringError as error:
        raise _Refused(str(error)) from error
    warm_up()  # compiled before anyone is told that a supply is there
    servers, addresses = dict[str, SupplyServer](), dict[str, str]()
    for supply in made:
        supply.advance(2e-3)  # the first step of this very circuit, too, is taken beforehand
        mischief = [each for each in order.mischief if each.supply == supply.name]
        reply_time = order.reply_times.get(supply.name)
        server = SupplyServer(supply, reply_time=reply_time, mischief=mischief, seed=order.seed)
        wanted = supply.document.address
        try:
            addresses[supply.name] = await server.start_at(wanted, at_bench=order.at_bench)
        except OSError as error:
            reason = error.strerror or str(error)
            where = wanted if order.at_bench else "a free address"
            raise _Refused(f"supply '{supply.name}' cannot listen on {where}: {reason}") from None
        servers[supply.name] = server
    beside, there = await _serve_beside(order, truth, servers)
    _say(
        {
            "ready": True,
            "addresses": addresses | there,
            "assumptions": [each._asdict() for each in truth.assumptions.all()],
            "parameters": {name: asdict(true) for name, true in truth.parameters.items()},
            "errors": {name: asdict(true) for name, true in truth.errors.items()},
            "unused": truth.unused_overrides(),
        }
    )
    tasks = {asyncio.ensure_future(server.run()) for server in servers.values()}
    tasks.add(asyncio.ensure_future(_requests(servers)))
    done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    for task in tasks:
        task.cancel()
    for instrument in beside:
        instrument.close()
    for task in done:
        task.result()


async def _serve_beside(
    order: Order, truth: Truth, servers: Mapping[str, SupplyServer]
) -> tuple[list[BesideServer], dict[str, str]]:
    """What stands beside the supplies: multimeters whose probes are in their physics, relays whose contacts
    are in their leads; and their addresses.
    """
    from railwright.twin.multimeter import simulated
    from railwright.twin.relays import simulated_relays

    bench, procedure = order.bench, order.procedure
    made: list[tuple[str, Wires, BesideServer]] = []
    plants = [server.supply.plant for server in servers.values()]
    for name in order.multimeters:
        server = servers[supply_beside(name, bench, procedure)]
        meter = simulated(name, bench, procedure, truth, order.faults, server)
        made.append((name, bench.multimeters[name], meter))
    for name in order.relays:
        relays = simulated_relays(
            name, order.device, bench, procedure, order.faults, plants, partial(_catch_up, servers)
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


def _catch_up(servers: Mapping[str, SupplyServer]) -> None:
    for server in servers.values():
        server.catch_up()


async def _requests(servers: Mapping[str, SupplyServer]) -> None:
    """Answer the launcher until it is gone."""
    reader = asyncio.StreamReader()
    await asyncio.get_running_loop().connect_read_pipe(
        lambda: asyncio.StreamReaderProtocol(reader), sys.stdin
    )
    while line := await reader.readline():
        request = json.loads(line)
        match request["what"]:
            case "traces":
                _say(_write_traces(servers, request))
            case "mischief":
                _say({"acts": [asdict(act) for server in servers.values() for act in server.mischief.acts]})
            case "by hand":
                server = servers[request["supply"]]
                server.catch_up()
                place = request["output"], request["setting"], request["value"]
                _say({"done": set_at_panel(server.supply, *place)})
            case "energised":
                _catch_up(servers)
                spans = (server.energised().items() for server in servers.values())
                _say({"energised": dict(chain.from_iterable(spans))})


def _write_traces(servers: Mapping[str, SupplyServer], request: Mapping[str, Any]) -> dict[str, Any]:
    """True traces of every input since a wall-clock time, on the wall clock, into one file."""
    import numpy as np

    _catch_up(servers)
    path, since = Path(request["path"]), float(request["since"])
    arrays, events, inputs = dict[str, Any](), list[dict[str, Any]](), list[str]()
    for server in servers.values():
        plant = server.supply.plant
        for name, history in plant.input_history.items():
            time, voltage, terminal_voltage, current, mode = history.since(since - server.origin)
            arrays |= {
                f"{name}|time": server.wall_clock(time),
                f"{name}|voltage": voltage,
                f"{name}|terminal_voltage": terminal_voltage,
                f"{name}|current": current,
                f"{name}|mode": mode,
            }
        times = server.wall_clock(np.array([event.time for event in plant.events]))
        events += [
            {**event.as_data(), "time": float(time)} for time, event in zip(times, plant.events, strict=True)
        ]
        inputs += plant.input_history
    with path.open("wb") as file:
        np.savez(file, allow_pickle=False, **arrays)
    return {"events": events, "inputs": inputs}


if __name__ == "__main__":
    sys.exit(main())

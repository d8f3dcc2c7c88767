"""Start a bench of simulated supplies, one process each or one for those that share relays, and stop them
again; look behind them with a recorder.
"""

from __future__ import annotations

import contextlib
import json
import pickle
import queue
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, Self

from railwright.assumptions import Assumption
from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.output_name import OutputName
from railwright.documents.procedure import Procedure
from railwright.grouping import grouped
from railwright.guard.address import socket_of, transport_of
from railwright.traces import Event, Record, Traces
from railwright.twin.beside import supplies_beside, supply_beside
from railwright.twin.faults import TwinFault
from railwright.twin.mischief.layer import Act
from railwright.twin.mischief.script import Mischief
from railwright.twin.process import Order
from railwright.twin.recorder import Trigger, write_capture
from railwright.twin.server import ReplyTime
from railwright.twin.truth import TrueValue, truth_data

START_TIMEOUT = 600.0
"""How long a process may take to be ready [s]; the first start after installation compiles the physics."""


class TwinError(Exception):
    """A twin could not be started or has gone; one line for people."""


class GivenTruthError(TwinError):
    """A true parameter that was given is none, or can have no such value."""

    def __init__(self, told: str) -> None:
        super().__init__(f"--true: {told}")


def socket_address(address: str) -> tuple[str, int]:
    """Host and port of a VISA resource `TCPIP::host::port::SOCKET`. TwinError for any other resource."""
    place = socket_of(address)
    if place is None:
        raise TwinError(f"expected an address such as TCPIP::127.0.0.1::5025::SOCKET, got '{address}'")
    return place


def must_be_offered(address: str) -> None:
    """TwinError where no twin can listen at an address."""
    if transport_of(address) == "library":
        raise TwinError(
            f"a twin listens on an address such as TCPIP::127.0.0.1::5025::SOCKET or ASRL./left.tty::INSTR, "
            f"not on '{address}'"
        )


def beside_must_be_offered(address: str) -> None:
    """TwinError where no twin of what stands beside supplies can listen at an address."""
    if transport_of(address) != "serial":
        socket_address(address)


class _Child:
    """One started process: its pipes, and a thread that collects what it says."""

    def __init__(self, order: Order) -> None:
        self.supply = "', '".join(order.supplies)
        # In a session of its own: what a terminal sends to all that it started (Ctrl-C, Ctrl-Z, Ctrl-\\, its
        # own end) reaches no supply, simulated or not.
        self.process = subprocess.Popen(
            [sys.executable, "-m", "railwright.twin.process"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,
        )
        self._said: queue.Queue[str | None] = queue.Queue()
        threading.Thread(target=self._listen, daemon=True).start()
        message = pickle.dumps(order)
        self._write(len(message).to_bytes(8, "big") + message)

    def _write(self, data: bytes) -> None:
        assert self.process.stdin is not None
        try:
            self.process.stdin.write(data)
            self.process.stdin.flush()
        except (BrokenPipeError, ValueError):
            raise TwinError(f"the twin of supply '{self.supply}' is gone") from None

    def _listen(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._said.put(line.decode())
        self._said.put(None)

    def answer(self, timeout: float) -> dict[str, Any]:
        """The next thing it says. TwinError when it says nothing in time, has ended, or reports an error."""
        try:
            line = self._said.get(timeout=timeout)
        except queue.Empty:
            raise TwinError(
                f"the twin of supply '{self.supply}' did not answer within {timeout:g} s"
            ) from None
        if line is None:
            raise TwinError(f"the twin of supply '{self.supply}' has ended (exit code {self.process.wait()})")
        said: dict[str, Any] = json.loads(line)
        if "error" in said:
            raise (GivenTruthError if said.get("given") else TwinError)(said["error"])
        return said

    def ask(self, request: Mapping[str, Any], timeout: float = 30.0) -> dict[str, Any]:
        """Send a request and wait for its answer."""
        self._write(json.dumps(request).encode() + b"\n")
        return self.answer(timeout)

    def stop(self) -> None:
        """End the process: its standard input closes; if that does not help within 2 s, it is killed."""
        if self.process.stdin is not None:
            with contextlib.suppress(BrokenPipeError):  # it may have ended already
                self.process.stdin.close()
        try:
            self.process.wait(2.0)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


class TwinBench:
    """All supplies of a bench as simulated ones; a context manager.

    device, procedure: what is connected how; without them every output stands open. seed: draws the true
    parameters. overrides: true parameters that are not drawn, `{"main.capacitor.capacitance": "x1.3"}`.
    faults: what lies wrong between the outputs and the device. mischief: faults by script. reply_times: how
    long each supply takes for a message (default: no time).
    ports: "free" picks free ports on the loopback interface and free pseudo-terminals, "bench" takes the
    addresses of the bench document. supplies: only these (default: all).
    """

    # Many: what a bench of twins is made of.
    def __init__(
        self,
        bench: Bench,
        device: Device | None = None,
        procedure: Procedure | None = None,
        *,
        seed: int = 1,
        overrides: Mapping[str, str] | None = None,
        faults: Sequence[TwinFault] = (),
        mischief: Sequence[Mischief] = (),
        reply_times: Mapping[str, ReplyTime] | None = None,
        ports: Literal["free", "bench"] = "free",
        supplies: Iterable[str] | None = None,
        timeout: float = START_TIMEOUT,
    ) -> None:
        self._given = bench
        self._device, self._procedure = device, procedure
        self.seed, self._overrides = seed, dict(overrides or {})
        self._faults = tuple(faults)
        self._mischief = tuple(mischief)
        self._reply_times = dict(reply_times or {})
        self._ports, self._timeout = ports, timeout
        self._supplies = tuple(supplies) if supplies is not None else tuple(bench.supplies)
        self._children: dict[tuple[str, ...], _Child] = {}
        """Supplies that share a process -> that."""
        self.addresses: dict[str, str] = {}
        self.assumptions: tuple[Assumption, ...] = ()
        self.parameters: dict[str, TrueValue] = {}
        self.errors: dict[str, TrueValue] = {}
        self.started = 0.0

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    @property
    def bench(self) -> Bench:
        """The bench with the addresses under which its twins answer."""
        kinds = {
            kind: {
                name: each.model_copy(
                    update={"address": self.addresses.get(name, each.address), "visa": None}
                )
                for name, each in getattr(self._given, kind).items()
            }
            for kind in ("supplies", "multimeters", "relays")
        }
        return self._given.model_copy(update=kinds)

    def start(self) -> None:
        """Start every process and wait until all are ready. TwinError; none is left running then."""
        beside = grouped(
            (supply_beside(name, self._given, self._procedure), name) for name in self._given.multimeters
        )
        switched = grouped((self._beside_relays(name)[0], name) for name in self._given.relays)
        at_bench = self._ports == "bench"
        try:
            for names in self._together():
                relays = tuple(own for name in names for own in switched.get(name, ()))
                meters = tuple(own for name in names for own in beside.get(name, ()))
                if at_bench:
                    for name in names:
                        must_be_offered(self._given.supplies[name].address)
                    for own in meters:
                        beside_must_be_offered(self._given.multimeters[own].address)
                    for own in relays:
                        beside_must_be_offered(self._given.relays[own].address)
                order = Order(
                    names,
                    self._given,
                    self._device,
                    self._procedure,
                    self.seed,
                    self._overrides,
                    at_bench,
                    self._faults,
                    tuple(each for each in self._mischief if each.supply in names),
                    self._reply_times,
                    meters,
                    relays,
                )
                self._children[names] = _Child(order)
            self._wait_until_ready()
        except BaseException:
            self.stop()
            raise
        self.started = time.monotonic()

    def _beside_relays(self, name: str) -> list[str]:
        """The supplies behind which the contacts of an instrument lie, of those that are simulated."""
        beside = supplies_beside(name, self._device, self._given, self._procedure)
        return [each for each in beside if each in self._supplies] or beside

    def _together(self) -> list[tuple[str, ...]]:
        """The supplies by process: those between which an instrument moves contacts are simulated in one, as
        its contacts have to open and close in the physics of all of them.
        """
        groups = [{name} for name in self._supplies]
        for relays in self._given.relays:
            beside = set(self._beside_relays(relays))
            joined = set[str]().union(*(group for group in groups if group & beside))
            groups = [*(group for group in groups if not group & beside), *([joined] if joined else [])]
        found = [tuple(name for name in self._supplies if name in group) for group in groups]
        return sorted(found, key=lambda names: self._supplies.index(names[0]))

    def _wait_until_ready(self) -> None:
        deadline = time.monotonic() + self._timeout
        assumptions: list[Assumption] = []
        unused = set(self._overrides)
        for child in self._children.values():
            said = child.answer(max(deadline - time.monotonic(), 0.1))
            self.addresses |= said["addresses"]
            assumptions += [Assumption(**each) for each in said["assumptions"]]
            self.parameters |= {key: TrueValue(**true) for key, true in said["parameters"].items()}
            self.errors |= {key: TrueValue(**true) for key, true in said["errors"].items()}
            unused &= set(said["unused"])
        self.assumptions = tuple(dict.fromkeys(assumptions))
        if unused:
            known = ", ".join(sorted(self.parameters)) or "none, as nothing is connected"
            raise GivenTruthError(f"there is no true parameter '{sorted(unused)[0]}'; there are: {known}")

    def truth_data(self) -> dict[str, Any]:
        """What is true behind the twins, as data: seed, parameters of the circuit, errors of the outputs."""
        return truth_data(self.seed, self.parameters, self.errors, self.assumptions)

    def stop(self) -> None:
        """End every process."""
        for child in self._children.values():
            child.stop()
        self._children.clear()

    def check(self) -> None:
        """TwinError when a process has ended."""
        for child in self._children.values():
            code = child.process.poll()
            if code is not None:
                raise TwinError(f"the twin of supply '{child.supply}' has ended (exit code {code})")

    def set_by_hand(self, output: OutputName, setting: str, value: float | bool | str) -> bool:
        """Turn a knob at a supply's panel, as a person would; whether it goes there."""
        request = {"what": "by hand", "supply": output.supply, "output": output.output}
        child = next(child for names, child in self._children.items() if output.supply in names)
        return bool(child.ask({**request, "setting": setting, "value": value})["done"])

    def acts(self) -> tuple[Act, ...]:
        """What the faults by script have done so far, on `time.monotonic()`, in order of time."""
        acts = [
            Act(**act) for child in self._children.values() for act in child.ask({"what": "mischief"})["acts"]
        ]
        return tuple(sorted(acts, key=lambda act: act.time))

    def energised(self) -> dict[str, tuple[tuple[float, float | None], ...]]:
        """Output -> when it was on in the physics and not tripped: (from, to) on `time.monotonic()` [s];
        None: it still is.
        """
        return {
            output: tuple((begin, end) for begin, end in spans)
            for child in self._children.values()
            for output, spans in child.ask({"what": "energised"})["energised"].items()
        }

    def truth(self, since: float | None = None) -> Record:
        """True traces and events of all inputs since a time of `time.monotonic()` (default: the start), on
        that clock [s].

        At most the last 600 s are kept.
        """
        import numpy as np

        traces: dict[str, Traces] = {}
        events: list[Event] = []
        with tempfile.TemporaryDirectory() as folder:
            for number, child in enumerate(self._children.values()):
                path = Path(folder) / f"{number}.npz"
                begin = self.started if since is None else since
                said = child.ask({"what": "traces", "since": begin, "path": str(path)})
                events += [Event.from_data(each) for each in said["events"] if each["time"] >= begin]
                with np.load(path) as stored:
                    for name in said["inputs"]:
                        columns = {
                            column: stored[f"{name}|{column}"]
                            for column in ("voltage", "terminal_voltage", "current", "mode")
                        }
                        traces[name] = Traces(stored[f"{name}|time"], columns)
        events.sort(key=lambda event: event.time)
        return Record("twin truth", traces, tuple(events))

    def record(
        self,
        recorder: str,
        trigger: Trigger,
        path: Path,
        *,
        inputs: Iterable[str] | None = None,
        after: float | None = None,
    ) -> bool:
        """Write what the bench's external recorder has captured to a CSV file; True when a complete capture
        was there.

        The last 600 s can be looked at, so this may be called when a run is over. inputs: what its probes are
        connected to (default: the trigger's input). after: earliest trigger, on `time.monotonic()` (default:
        the start of the twins).
        """
        document = self._given.recorders[recorder]
        begin = self.started if after is None else after
        traces = self.truth(begin - trigger.before - 0.1).traces
        return write_capture(
            recorder, document, traces, trigger, path, inputs=inputs, seed=self.seed, after=begin
        )


def serve_bench(
    bench: TwinBench,
    *,
    recording: tuple[str, Trigger, Path, Sequence[str]] | None = None,
    say: Callable[[str], None] = print,
    ready: Callable[[TwinBench], None] | None = None,
    seconds: float | None = None,
) -> None:
    """Start a bench's twins, and serve them until Ctrl-C, or for `seconds`. Raises TwinError when one cannot
    start or ends.

    recording: (recorder, trigger, file, inputs): write the first capture that the bench's external recorder
    makes of these inputs and the trigger's. say: gets one line for every supply and the recording. ready:
    called once when all are started.
    """
    try:
        with bench as twins:
            if ready is not None:
                ready(twins)
            for name, address in twins.addresses.items():
                supply = twins.bench.supplies.get(name)
                beside = "relays" if name in twins.bench.relays else "multimeter"
                say(f"{name}: {address} ({supply.dialect.name if supply else beside})")
            say(f"seed {twins.seed}; Ctrl-C ends")
            end = None if seconds is None else time.monotonic() + seconds
            while end is None or time.monotonic() < end:
                time.sleep(0.25 if end is None else max(0.0, min(0.25, end - time.monotonic())))
                twins.check()
                if recording is None:
                    continue
                recorder, trigger, path, inputs = recording
                if twins.record(recorder, trigger, path, inputs=inputs):
                    say(f"{recorder}: {path}")
                    recording = None
    except KeyboardInterrupt:
        say("ended")

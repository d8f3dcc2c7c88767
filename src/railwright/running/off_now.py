"""`railwright off` at work: through the guard that holds a supply, and by itself where there is none.

It waits for no lock and for no guard that gives no answer; what each output is read to be is said in the end.
"""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import Awaitable, Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from railwright.guard.input_end import MAINS
from railwright.guard.left_plans import end_guard, is_guard, left_plans, read_plan
from railwright.guard.off import SwitchOff
from railwright.guard.off_plan import OffPlan, RelaysOff
from railwright.guard.session import Session
from railwright.guard.wire import connect
from railwright.running.off_ask import AskedGuard
from railwright.running.off_bench import (
    BenchSupply,
    Planned,
    concerns,
    covered,
    joined,
    left_out,
    only,
    places_in,
    plan_of,
)

ANSWER_WAIT = 0.3
"""How long a guard is given to answer [s], before its supplies are spoken to without it."""

LEAST_WAIT = 0.02
"""What is left of that where this program itself was slow to start [s]."""

SIGN_WAIT = 1.0
"""A guard that has answered, and then gives no sign for so long [s], hangs."""

GOODBYE_WAIT = 1.5
"""So long after everything is off [s] a guard may still hold a supply that takes one client."""

LOST_WAIT = 10.0
"""How long a supply that does not answer is tried [s]."""

GUARD_WAIT = 15.0
"""How long a guard is given to read everything to be off [s]; it goes on by itself."""


@dataclass(slots=True)
class Holder:
    """A guard that holds supplies, and how it goes on with it."""

    asked: AskedGuard
    plan: OffPlan | None
    begun: asyncio.Event = field(default_factory=asyncio.Event)
    over: asyncio.Event = field(default_factory=asyncio.Event)
    failed: asyncio.Event = field(default_factory=asyncio.Event)
    over_at: float = 0.0
    ends: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    contacts: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    masters: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def process(self) -> int:
        return self.asked.process


class OffNow:
    """Switches outputs of a bench off, once.

    names: outputs that are wanted off; None: all. asked: the guards that hold any of the supplies. folder:
    where plans lie. tell: told one line at a time; it neither waits nor raises. relays: what the bench says
    of contacts, which no run holds. `go` gives whether all was read to be off.
    """

    def __init__(
        self,
        supplies: Sequence[BenchSupply],
        names: frozenset[str] | None,
        asked: Sequence[AskedGuard],
        folder: Path,
        tell: Callable[[str], object],
        relays: Sequence[RelaysOff] = (),
    ) -> None:
        self._relays = relays
        self._contacts = set[str]()
        """Those of which something was told."""
        self._supplies, self._asked, self._folder, self._tell = supplies, asked, folder, tell
        self._chosen = names is not None
        self._names = (
            names if names is not None else frozenset(o.name for each in supplies for o in each.outputs)
        )
        self._all_off = True
        self._answers = dict[str, str]()
        """Who answered at the place of each supply, of those that were asked here."""
        self._switching: list[SwitchOff] = []
        self._hurried = asyncio.Event()

    def hurry(self) -> None:
        """Wait for nothing more."""
        self._hurried.set()
        for off in self._switching:
            off.hurry()

    async def go(self) -> bool:
        """Everything at once; returns when all of it is known."""
        held = {place for asked in self._asked for place in asked.places}
        jobs: list[Awaitable[object]] = [
            self._tried(
                self._through(Holder(asked, read_plan(asked.plan))),
                [each for each in self._supplies if each.place in asked.places],
            )
            for asked in self._asked
        ]
        free = [each for each in self._supplies if each.place not in held]
        for path, plan in self._left(free):
            mine = places_in(plan, self._supplies)
            there = [each for each in free if each.place in mine]
            jobs.append(self._tried(self._by_left(path, plan, there), there))
            free = [each for each in free if each.place not in mine]
        jobs.append(self._own(self._with_relays(plan_of(free, self._names), alone=not jobs), {}))
        await asyncio.gather(*jobs)
        for each in (output for supply in self._supplies for output in supply.outputs):
            if each.off is None and each.name in self._names:
                self._say_not(each.name, each.fault)
        self._say_twice()
        for own in (each for relays in self._relays for each in relays.contacts):
            if own.name not in self._contacts:
                self._tell(f"contact {own.name}: not moved; how it stands is unknown")
        return self._all_off

    def _with_relays(self, plan: OffPlan, *, alone: bool) -> OffPlan:
        """With the bench's contacts where all of its outputs go off by this plan: which of them a contact
        carries nobody knows here. Where a run's plan is used, that one has them.
        """
        if not alone:
            return plan
        if not self._chosen and plan.inputs:
            return replace(plan, relays=tuple(self._relays))
        return plan

    async def _tried(self, job: Awaitable[object], supplies: Sequence[BenchSupply]) -> None:
        """A way that takes a run's plan; where it fails for whatever reason, all at once without it."""
        try:
            await job
        except Exception as error:  # noqa: BLE001 - whatever it is, the outputs go off
            self._tell(f"a fault of the program, so all at once and without a run's plan: {error!r}")
            self._all_off = False
            await self._own(plan_of(supplies, self._names), {})

    # Plans that were left

    def _left(self, free: Sequence[BenchSupply]) -> list[tuple[Path, OffPlan]]:
        """Plans of guards that were killed, for supplies of this bench and no other."""
        places = {each.place for each in free if each.place}
        concerned = {each.place for each in free if concerns(each, self._names)}
        found = []
        for path, plan in left_plans(self._folder):
            mine = places_in(plan, self._supplies)
            if set(mine) <= places and set(mine) & concerned:
                found.append((path, plan))
                places -= set(mine)
        return found

    # Through a guard

    async def _through(self, holder: Holder) -> None:
        places = holder.asked.places.union(
            places_in(holder.plan, self._supplies) if holder.plan is not None else ()
        )
        supplies = [each for each in self._supplies if each.place in places]
        asking = asyncio.get_running_loop().create_task(_listen(holder))
        try:
            left = ANSWER_WAIT - (time.monotonic() - holder.asked.at)
            await self._first_of((holder.begun, holder.failed), max(left, LEAST_WAIT))
            if holder.begun.is_set() and await self._with_guard(holder, supplies):
                return
            if not self._hurried.is_set():
                await self._without_guard(holder, supplies)
        finally:
            asking.cancel()

    async def _with_guard(self, holder: Holder, supplies: Sequence[BenchSupply]) -> bool:
        """Let it switch off what is in its plan, and switch off the rest beside it, which it tells nothing.
        False where it hangs.
        """
        planned = covered(holder.plan, supplies) if holder.plan is not None else {}
        if self._chosen and any(name not in self._names for name in planned):
            self._tell("a run is going on there: everything of it goes off, in its order")
        beside = frozenset(
            name for name in self._names if name not in planned or (self._chosen and planned[name].stays_on)
        )
        loop = asyncio.get_running_loop()
        own = loop.create_task(self._own(plan_of(supplies, beside), {}, holder))
        try:
            await self._first_of((holder.over, holder.failed), GUARD_WAIT)
            if holder.failed.is_set():
                return False
            self._report(holder.ends, holder.plan, planned, skipped=beside)
            for master in holder.masters.values():
                self._say_master(master)
            for contact in holder.contacts.values():
                self._say_contact(contact)
            if not holder.over.is_set():
                self._tell(f"the guard of the run (process {holder.process}) goes on trying")
            await own
        finally:
            own.cancel()
        return True

    async def _without_guard(self, holder: Holder, supplies: Sequence[BenchSupply]) -> None:
        """Its plan, carried out here; in the end it is ended where it still gives no answer, because what
        waits for it would be sent when it wakes.
        """
        self._tell(
            f"the guard of the run (process {holder.process}) gives no answer: switching off without it"
        )
        if holder.plan is None:
            await self._own(plan_of(supplies, self._names), {}, holder)
        else:
            planned = covered(holder.plan, supplies)
            beside = frozenset(self._names - set(planned))
            await self._own(joined(holder.plan, supplies, beside), planned, holder)
        left = SIGN_WAIT - (time.monotonic() - holder.asked.at)
        await self._first_of((holder.begun,), max(0.0, left))
        if not holder.begun.is_set() or holder.failed.is_set():
            self._end(holder, "it gave no answer")

    def _end(self, holder: Holder, why: str) -> None:
        if not is_guard(holder.process):
            return
        failure = end_guard(holder.process)
        self._tell(failure or f"the guard of the run (process {holder.process}) was ended: {why}")

    # Without one

    async def _by_left(self, path: Path, plan: OffPlan, supplies: Sequence[BenchSupply]) -> None:
        planned = covered(plan, supplies)
        chosen = frozenset(planned[name].output for name in self._names if name in planned)
        self._tell("the off plan of a run that was killed is used: its order and thresholds")
        if self._chosen:
            for name, others in left_out(plan, chosen):
                self._tell(f"caution: {name} was to stay on until {', '.join(others)} is confirmed off")
            plan = only(plan, chosen)
        beside = frozenset(self._names - set(planned))
        part = joined(plan, supplies, beside)
        if await self._own(part, planned) and not self._chosen:
            with suppress(OSError):
                path.unlink()

    async def _own(self, plan: OffPlan, planned: Mapping[str, Planned], holder: Holder | None = None) -> bool:
        """Carry out a plan over sessions of its own. Whether all of it was read to be off."""
        if not plan.inputs:
            return True
        # What a multimeter of a run's plan is set to, or is connected to, by now is not known here.
        plan = replace(plan, lost=LOST_WAIT, meters=())
        sessions = {
            each.name: Session(each.name, each.address, connect, each.session_settings)
            for each in plan.sessions
        }
        said: set[str] = set()
        places = {each.name: place for place, each in places_in(plan, self._supplies).items()}

        def happened(what: str, fields: dict[str, Any]) -> None:
            if what == "stays off":
                self._answers |= {places[name]: who for name, who in off.answered.items()}
                said.add(fields["input"])
                self._report({fields["input"]: asdict(off.ends[fields["input"]])}, plan, planned)
            elif what == "came on again":
                # What was said of it is not so any more: its end is said anew.
                said.discard(fields["input"])
                self._tell(f"{fields['input']} came on again ({fields['why']}): OFF is sent again")
            elif what == "master":
                self._say_master(fields)
            elif what == "contact":
                self._say_contact(fields)

        off = SwitchOff(plan, sessions, happened)
        self._switching.append(off)
        if self._hurried.is_set():
            off.hurry()
        watching = asyncio.get_running_loop().create_task(self._see_who_hinders(sessions.values(), holder))
        try:
            ends = await off.go()
        finally:
            watching.cancel()
            await asyncio.gather(*(session.end() for session in sessions.values()))
        self._answers |= {places[name]: who for name, who in off.answered.items()}
        self._report({n: asdict(end) for n, end in ends.items() if n not in said}, plan, planned)
        return all(end.confirmed for end in ends.values())

    async def _see_who_hinders(self, sessions: Any, holder: Holder | None) -> None:
        """End a guard that holds a supply which lets nobody else in: at once where it gives no answer, soon
        where it is through.
        """
        told: set[str] = set()
        loop = asyncio.get_running_loop()
        began = loop.time()
        while True:
            await asyncio.sleep(0.05)
            for session in sessions:
                if not session.broken:
                    continue
                if loop.time() - began > 1.0 and session.name not in told:
                    told.add(session.name)
                    self._tell(f"{session.name}: {session.broken}; trying for {LOST_WAIT:g} s: {MAINS}")
                if holder is None:
                    continue
                through = holder.over.is_set() and loop.time() - holder.over_at > GOODBYE_WAIT
                if not holder.begun.is_set() or holder.failed.is_set() or through:
                    self._end(holder, f"{session.name} lets nobody else in ({session.broken})")
                    holder = None

    async def _first_of(self, events: Sequence[asyncio.Event], at_most: float) -> None:
        waiting = [asyncio.ensure_future(event.wait()) for event in (*events, self._hurried)]
        try:
            await asyncio.wait(waiting, timeout=at_most, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in waiting:
                task.cancel()

    # What is said

    def _report(
        self,
        ends: Mapping[str, Mapping[str, Any]],
        plan: OffPlan | None,
        planned: Mapping[str, Planned],
        skipped: frozenset[str] = frozenset(),
    ) -> None:
        """One line for each output, under its name of the bench where it has one."""
        ours = {each.output: name for name, each in planned.items()}
        for each in plan.inputs if plan is not None else ():
            end = ends.get(each.name)
            if end is None:
                continue
            for output in each.outputs:
                name = ours.get(output.name, output.name)
                if name not in skipped:
                    shown = name if each.name == name else f"{name} ({each.name})"
                    self._say(name, shown, end)

    def _say(self, name: str, shown: str, end: Mapping[str, Any]) -> None:
        if end["confirmed"] and (other := self._other(name)):
            self._say_not(shown, f"what is off is another instrument's output: {other}")
        elif end["confirmed"]:
            held = end["holds"]
            what = f"device holds {_volts(held)}" if held is not None else _volts(end["voltage"])
            self._tell(f"{shown}: off confirmed, {what}")
        elif end["stays_on"]:
            self._tell(f"{shown}: stays on, because: {end['stays_on']}. Name {name} to switch it off")
        else:
            last = "" if end["voltage"] is None else f"; last read {_volts(end['voltage'])}"
            # The bench document says nothing of the device, so its own source is known to nobody here.
            own = end["off_read"] is not None and abs(end["voltage"] or 0.0) >= end["below"]
            perhaps = "; a battery or another source of the device may hold it" if own else ""
            self._say_not(shown, f"{end['why'] or 'waited for no longer'}{last}{perhaps}")

    def _other(self, name: str) -> str:
        """Why whoever answered for an output of the bench is not its supply; '' where nothing says so."""
        for each in self._supplies:
            who = self._answers.get(each.place, "")
            if who and any(output.name == name for output in each.outputs) and (lacks := each.is_other(who)):
                return f"'{who[:80]}' answers at {each.address}, and the bench has {lacks}"
        return ""

    def _say_twice(self) -> None:
        """Where two supplies of the bench are one instrument, one of them was told nothing."""
        found: dict[str, list[BenchSupply]] = {}
        for each in self._supplies:
            who = self._answers.get(each.place, "")
            if who and each.tells_apart(who):
                found.setdefault(who, []).append(each)
        for who, alike in found.items():
            if len(alike) > 1:
                names = " and ".join(each.name for each in alike)
                self._say_not(names, f"one instrument, '{who[:80]}', answers for each of them")

    def _say_master(self, master: Mapping[str, Any]) -> None:
        state = "off" if master["off"] else f"NOT READ TO BE OFF: {master['why']}"
        self._tell(f"{master['name']}: master switch {state}")

    def _say_contact(self, contact: Mapping[str, Any]) -> None:
        """Whatever became of a contact, it makes no output one that is on or off."""
        self._contacts.add(str(contact["contact"]))
        how = f"reads {contact['stands']}" if contact["rests"] else str(contact["why"])
        drives = contact.get("pin")
        told = "a relay isolates nothing" if not drives else "it drives a pin of the device"
        self._tell(f"contact {contact['contact']}: {how}; {told}")

    def _say_not(self, shown: str, why: str) -> None:
        self._all_off = False
        self._tell(f"{shown}: OFF NOT CONFIRMED: {why}; {MAINS}")


async def _listen(holder: Holder) -> None:
    """Take in how a guard goes on with what it was asked."""
    if holder.asked.connection is None:
        holder.failed.set()
        return
    try:
        reader, writer = await asyncio.open_unix_connection(sock=holder.asked.connection)
        try:
            wait: float | None = None
            while True:
                async with asyncio.timeout(wait):
                    answer = json.loads(await reader.readline())
                holder.begun.set()
                holder.ends = answer.get("ends", holder.ends)
                holder.contacts = answer.get("contacts", holder.contacts)
                holder.masters = answer.get("masters", holder.masters)
                if answer["off"] == "over":
                    holder.over_at = asyncio.get_running_loop().time()
                    holder.over.set()
                    return
                wait = SIGN_WAIT
        finally:
            writer.close()
    except (OSError, ValueError, KeyError, AttributeError, TimeoutError):
        holder.failed.set()


def _volts(voltage: float | None) -> str:
    return "no voltage was read" if voltage is None else f"{round(voltage, 2) + 0.0:.2f} V"

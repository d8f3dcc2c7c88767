"""The one way in which outputs are switched off: at a normal end, after any failure, and by `railwright off`.

OFF goes out at once and in order, again until it is read to have worked, and each supply is dealt with by
itself: one that is silent or gone holds up only what has to wait for it.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any

from railwright.guard.input_end import InputEnd
from railwright.guard.judged_off import judge_off
from railwright.guard.meters import MeterAsked
from railwright.guard.off_level import CLOSING, STEADY
from railwright.guard.off_plan import ContactOff, InputOff, Look, OffPlan, SupplyOff
from railwright.guard.off_supply import SupplySwitchedOff, Tell
from railwright.guard.resting import loaded, rest, tell_contact
from railwright.guard.session import Session, SessionError

RESTS_WITHIN = 10.0
"""How long relays may take to bring their contacts to rest [s]; outputs are off by then."""

STAIR = 0.02
"""Interval of the set points that lead a voltage down [s]."""

EXPLAINS_WITHIN, MOST_ENTRIES = 3.0, 100
"""How long a supply is asked for the entries of its error queue, once all is off [s], and how many of them.
"""

MOST_AGAIN = 3
"""An output that comes on again more often than this after it was confirmed off is one that does not stay
off: it is told OFF as long as this lasts, and is not called off.
"""

WATCHDOG_TRIES, WATCHDOG_PAUSE = 5, 0.1
"""How often a supply's watchdog is told to go off before it is left on, and the time between two tries [s].
"""


class SwitchOff:
    """Switches everything of a plan off, once.

    sessions: open ones by supply, used first; `tell`: told of everything. `hurry` ends the waiting: each
    input has `OffPlan.silence` from its OFF on to be confirmed, and no more.
    """

    def __init__(self, plan: OffPlan, sessions: Mapping[str, Session], tell: Tell) -> None:
        self.plan = plan
        self.ends = {
            each.name: InputEnd(
                each.name, stays_on=each.stays_on, kept_on=bool(each.stays_on), below=each.below
            )
            for each in plan.inputs
        }
        self.contacts: dict[str, dict[str, Any]] = {}
        """What became of each contact of a relay so far, as it was told."""
        self.masters: dict[str, dict[str, Any]] = {}
        """What became of each supply's master switch so far, as it was told."""
        self._tell = tell
        self._supplies = {
            each.name: SupplySwitchedOff(each, sessions[each.name], plan, tell) for each in plan.supplies
        }
        self._relays = [(each, sessions[each.name]) for each in plan.relays]
        inputs = {each.name: each for each in plan.inputs}
        self._meters = [
            MeterAsked(each, inputs[each.input], sessions[each.name], plan.deadline)
            for each in plan.meters
            if each.input in inputs
        ]
        self._pins: list[asyncio.Task[None]] = []
        """What brings pins of the device to rest."""
        self._begun = {each.name: asyncio.Event() for each in plan.inputs}
        """Its OFF has gone out; or it is held up by a supply that gives no answer, or told nothing at all."""
        self._asked = {each.name: asyncio.Event() for each in plan.inputs}
        """It was read to be off; or it had `OffPlan.silence` to say so."""
        self._settled = {each.name: asyncio.Event() for each in plan.inputs}
        """It is confirmed off; or nothing more can be hoped for."""
        self._hurry = asyncio.Event()
        self._began = 0.0
        self._told_at: dict[str, float] = {}
        """When each input was told OFF [s], whether that left or not."""
        self._confirmed_at: dict[str, float] = {}
        """When each input was last read that is confirmed off by it [s]."""
        self._closed: set[str] = set()
        """Inputs that were told to stay off."""
        self._again: dict[str, asyncio.Task[None]] = {}
        """What confirms inputs once more that came on again."""

    @property
    def answered(self) -> dict[str, str]:
        """What each supply said that it is, of those that were asked for it."""
        return {name: each.answered for name, each in self._supplies.items() if each.answered}

    def hurry(self) -> None:
        """Wait for no voltage and no lost supply any more; what comes after something still does."""
        self._hurry.set()

    async def go(self, *, orderly: bool = False, explain: str = "") -> dict[str, InputEnd]:
        """Switch off, and wait until everything is confirmed or nothing more can be hoped for.

        orderly: inputs that are to be led down to 0 V first, are. explain: the supply that is asked for its
        errors then.
        """
        loop = asyncio.get_running_loop()
        self._began = loop.time()
        inputs = []
        for each in self.plan.inputs:
            if each.stays_on:
                self._let_go_on(each)
            else:
                inputs.append(loop.create_task(self._whatever_comes(each, orderly)))
        # After those, so that OFF goes out before the first question.
        watching = [loop.create_task(supply.deal_with()) for supply in self._supplies.values()]
        masters = {
            name: loop.create_task(self._take_master_off(supply))
            for name, supply in self._supplies.items()
            if supply.document.master
        }
        self._pins = self._resting(of_pins=True)
        asking = [loop.create_task(self._ask_meter(meter)) for meter in self._meters]
        try:
            await self._until_closed(inputs)
            seen = (self._see_master_off(self._supplies[name]) for name in masters)
            await asyncio.gather(*seen, return_exceptions=True)
            for supply in self._supplies.values():
                if supply.document.watchdog:
                    await self._end_watchdog(supply)
            await self._rest_contacts()
            await self._until_closed()
            if explain in self._supplies:
                await self._explain(self._supplies[explain])
        finally:
            for supply in self._supplies.values():
                supply.done = True
                supply.wake.set()
            tasks = (*watching, *asking, *inputs, *self._again.values(), *masters.values(), *self._pins)
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
        for meter in self._meters:
            # Waited for no longer: what it showed of this confirmation counts all the same.
            name = meter.at.name
            shown = self.ends[name].confirmed and meter.since == self._confirmed_at.get(name)
            if shown and meter.settled < meter.since and meter.contradiction():
                self._contradicted(meter)
        for each in self.plan.inputs:
            if each.stays_on:
                self.ends[each.name].why = each.stays_on
            self._tell("input", {"input": each.name, "confirmed": self.ends[each.name].confirmed})
        return self.ends

    # One input

    async def _whatever_comes(self, each: InputOff, orderly: bool) -> None:
        """A fault of the program with one input leaves no other waiting, nor that one on: OFF goes out again
        until it is read to have worked.
        """
        end = self.ends[each.name]
        try:
            await self._input(each, orderly)
        except Exception as error:  # noqa: BLE001 - whatever it is, it is said and the others go on
            with suppress(Exception):
                if each.name not in self._told_at:
                    self._send_off(each, end)
            with suppress(Exception):
                await self._until_off(each, end)
            end.why = f"a fault of the program: {error!r}"
        finally:
            self._let_go_on(each)

    def _let_go_on(self, each: InputOff) -> None:
        """Nothing more comes of this input: whatever waits for it goes on."""
        for events in (self._begun, self._asked, self._settled):
            events[each.name].set()

    async def _input(self, each: InputOff, orderly: bool) -> None:
        end = self.ends[each.name]
        for name in each.after:
            # One that is led down first, or has others before it, takes its time: that is its place in the
            # order.
            await self._wait(self._begun.get(name), None)
            await self._wait(self._asked.get(name), self.plan.silence)
        if why := await self._kept_on_by(each):
            end.kept_on, end.why = True, why
            self._tell("stays on", {"input": each.name, "why": why})
            return
        if orderly and each.ramp_down > 0.0:
            await self._lead_down(each)
        self._send_off(each, end)
        await self._confirm(each, end, asyncio.get_running_loop().time())

    async def _kept_on_by(self, each: InputOff) -> str:
        """Wait for the inputs that are to be confirmed off before this one; why it stays on, '' where it goes
        off. One that comes on again while another is waited for is waited for anew.
        """
        waited = bool(each.only_after)
        while waited:
            waited = False
            for name in each.only_after:
                before = self.ends.get(name)
                await self._wait(self._asked.get(name), None)
                if before is not None and before.off_read is None:
                    self._begun[each.name].set()
                if name in self._settled and not self._settled[name].is_set():
                    # Also where it is hurried: what is waited for here hurries, and is known soon.
                    await self._settled[name].wait()
                    waited = True
                if before is not None and not before.confirmed and not self._is_off(each):
                    return f"stays on: {name} is not confirmed off"
        return ""

    def _send_off(self, each: InputOff, end: InputEnd) -> None:
        self._told_at[each.name] = asyncio.get_running_loop().time()
        self._begun[each.name].set()
        for output in each.outputs:
            self._supplies[output.supply].wanted[output.name] = output
        for output in each.outputs:
            supply = self._supplies[output.supply]
            if supply.document.master_first and not supply.master_wanted:
                supply.push_master()
            supply.push(output)
            supply.wake.set()
        self._see_sent(each, end)

    def _see_sent(self, each: InputOff, end: InputEnd) -> None:
        """Tell it once OFF has left for all outputs of an input."""
        left = [self._supplies[output.supply].left.get(output.name) for output in each.outputs]
        times = [time for time in left if time is not None]
        if end.off_sent is None and len(times) == len(left):
            end.off_sent = max(times)
            self._tell("off sent", {"input": each.name, "time": end.off_sent})

    async def _until_off(self, each: InputOff, end: InputEnd) -> None:
        """Wait until an input is read to be off, as long as a voltage is waited for to fall."""
        loop = asyncio.get_running_loop()
        began = loop.time()
        while self._judge(each, end):
            if loop.time() - began > (self.plan.silence if self._hurry.is_set() else self.plan.decay):
                return
            await asyncio.sleep(self.plan.every)

    async def _wait(self, event: asyncio.Event | None, at_most: float | None) -> None:
        """For an event, or until it is hurried, or for so long."""
        if event is None or event.is_set():
            return
        waiting = [asyncio.ensure_future(event.wait()), asyncio.ensure_future(self._hurry.wait())]
        try:
            await asyncio.wait(waiting, timeout=at_most, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in waiting:
                task.cancel()

    async def _lead_down(self, each: InputOff) -> None:
        """Take the voltage to 0 in even stairs, from where it is read to be. Not where an output is off by
        now, or its supply gives no answer: it then goes off at once.
        """
        loop = asyncio.get_running_loop()
        last = loop.time() + self.plan.silence
        while (start := self._standing(each)) is None:
            if loop.time() >= last or self._hurry.is_set():
                return
            await self._wait(asyncio.Event(), self.plan.every)
        steps = max(1, round(each.ramp_down / STAIR))
        for step in range(1, steps + 1):
            for output, voltage in zip(each.outputs, start, strict=True):
                supply = self._supplies[output.supply]
                if step == steps:
                    await supply.session.pause()
                # What a supply has not taken yet would hold up OFF: stairs are left out until it has.
                if not supply.session.is_sending:
                    supply.send(output.setting(voltage * (1 - step / steps)), gives_way=True)
            await self._wait(asyncio.Event(), each.ramp_down / steps)
            if self._hurry.is_set() or self._standing(each) is None:
                return
        # The last stair leaves before OFF, which would else take its place where it waits for its pause.
        sessions = [self._supplies[output.supply].session for output in each.outputs]
        last = loop.time() + self.plan.silence
        while any(own.is_sending for own in sessions) and loop.time() < last and not self._hurry.is_set():
            await self._wait(asyncio.Event(), self.plan.every / 4)

    def _is_off(self, each: InputOff) -> bool:
        """Whether it was read to be off, without a current and without its voltage: then there is nothing
        left on. Its own word alone does not count: one that is on would lose what another needs.
        """
        found = [self._supplies[output.supply].looks.get(output.name) for output in each.outputs]
        lost = any(self._supplies[output.supply].lost_since is not None for output in each.outputs)
        looks = [look[0] for look in found if look is not None]
        return not lost and len(looks) == len(found) and not judge_off(each, looks).missing

    def _standing(self, each: InputOff) -> list[float] | None:
        """Voltages of its outputs [V]; None where one was not read yet, is off, or its supply is lost."""
        looks = [self._supplies[output.supply].looks.get(output.name) for output in each.outputs]
        lost = any(self._supplies[output.supply].lost_since is not None for output in each.outputs)
        if lost or not all(output.set_voltage for output in each.outputs):
            return None
        found = [abs(look[0].voltage) for look in looks if look is not None and not look[0].off]
        return found if len(found) == len(looks) else None

    def _has_come_on(self, each: InputOff) -> bool:
        """Whether an input that was confirmed off is, or was since then, read to be anything else."""
        end = self.ends[each.name]
        if not end.confirmed:
            return False
        supplies = {self._supplies[output.supply] for output in each.outputs}
        if all(supply.lost_since is None for supply in supplies) and self._judge(each, end):
            return True
        return self._seen_on(each) > self._confirmed_at[each.name]

    def _seen_on(self, each: InputOff) -> float:
        """When an output of an input was last read to say that it is on [s]."""
        return max(
            self._supplies[output.supply].seen_on.get(output.name, -math.inf) for output in each.outputs
        )

    async def _until_closed(self, inputs: Sequence[asyncio.Task[None]] = ()) -> None:
        """Wait for the tasks of inputs, and until each that is confirmed off was read once more, `CLOSING`
        after that. One that comes on again meanwhile is confirmed anew; what waits for nothing of it goes on.
        """
        while True:
            for each in self.plan.inputs:
                if self._has_come_on(each):
                    self._comes_on(each)
                elif (
                    self.ends[each.name].confirmed and each.name not in self._closed and self._is_closed(each)
                ):
                    self._closed.add(each.name)
                    self._tell("stays off", {"input": each.name})
            left = [task for task in (*inputs, *self._again.values()) if not task.done()]
            if not left and (self._hurry.is_set() or all(map(self._is_closed, self.plan.inputs))):
                return
            if left:
                await asyncio.wait(left, timeout=self.plan.every, return_when=asyncio.FIRST_COMPLETED)
            else:
                await asyncio.sleep(self.plan.every)

    def _is_closed(self, each: InputOff) -> bool:
        """Whether an input needs no further look: it was read to be off long enough after it was confirmed,
        or is not confirmed. A supply that was lost since then takes nothing back.
        """
        end = self.ends[each.name]
        if not end.confirmed or any(self._supplies[o.supply].lost_since is not None for o in each.outputs):
            return True
        since = self._confirmed_at[each.name]
        if any(m.settled < since for m in self._meters if m.at.name == each.name and not m.failed):
            return False
        waited = asyncio.get_running_loop().time() - since > CLOSING + self.plan.decay
        return waited or (end.read_at is not None and end.read_at - since >= CLOSING)

    async def _ask_meter(self, meter: MeterAsked) -> None:
        """A fault of the program with a multimeter is like one that gives no answer."""
        try:
            await self._see_by_meter(meter)
        except Exception as error:  # noqa: BLE001 - whatever it is, it is said and nothing waits for it
            meter.failed = f"a fault of the program: {error!r}"
        self._tell_meter(meter)

    async def _see_by_meter(self, meter: MeterAsked) -> None:
        """Have a multimeter say of its input, each time that its supplies confirm it, whether the voltage has
        gone; it has the time that a voltage may take to fall. What it shows then takes the confirmation back.
        """
        name, loop = meter.at.name, asyncio.get_running_loop()
        end = self.ends[name]
        while not meter.failed:
            since = self._confirmed_at.get(name, -math.inf)
            if not end.confirmed or meter.settled >= since:
                await asyncio.sleep(self.plan.every)
                continue
            if not await meter.read(since):
                return
            if since != self._confirmed_at[name] or not self.ends[name].confirmed:
                continue  # it came on again meanwhile
            if not meter.contradiction():
                meter.settled = since
                self._tell_meter(meter)
            elif loop.time() - since > self.plan.decay:
                self._contradicted(meter)
            else:
                await asyncio.sleep(self.plan.every)

    def _contradicted(self, meter: MeterAsked) -> None:
        """A multimeter shows a voltage where the supplies say off: it is not called off, and OFF is sent once
        more, whatever their state says.
        """
        end = self.ends[meter.at.name]
        meter.settled = meter.since
        end.confirmed, end.why = False, meter.contradiction()
        self._closed.discard(meter.at.name)
        self._tell_meter(meter, end.why)
        for output in meter.at.outputs:
            self._supplies[output.supply].push(output)

    def _tell_meter(self, meter: MeterAsked, against: str = "") -> None:
        """What a multimeter says of its input that is off by what its supplies say."""
        document = meter.document
        shown = meter.shown if meter.shown is None or math.isfinite(meter.shown) else None
        told = {"name": document.name, "input": document.input, "voltage": shown, "against": against}
        self._tell("meter", {**told, "failed": meter.failed, "time": asyncio.get_running_loop().time()})

    def _comes_on(self, each: InputOff) -> None:
        """An input that was confirmed off is not: that is told, and OFF goes out again as long as it says
        that it is on. It has as much time as the first time, but not time and again.
        """
        end, name, loop = self.ends[each.name], each.name, asyncio.get_running_loop()
        why = self._judge(each, end)
        seen = self._seen_on(each)
        if seen <= self._confirmed_at[name]:
            # It says off: a voltage or a current is there again.
            seen = end.read_at or loop.time()
        if not why:
            why = f"{', '.join(output.name for output in each.outputs)} said that it was on"
        end.confirmed, end.came_on = False, end.came_on + 1
        self._closed.discard(name)
        after = seen - self._confirmed_at[name]
        self._tell("came on again", {"input": name, "time": seen, "after": after, "why": why})
        if end.came_on > MOST_AGAIN:
            end.why = (
                f"it came on again {end.came_on} times after it was confirmed off, and OFF was sent each time"
            )
            return
        self._settled[name].clear()
        self._again[name] = loop.create_task(self._confirm_again(each))

    async def _confirm_again(self, each: InputOff) -> None:
        try:
            await self._confirm(each, self.ends[each.name], asyncio.get_running_loop().time())
        finally:
            self._settled[each.name].set()

    async def _confirm(self, each: InputOff, end: InputEnd, began: float) -> None:
        """Until the input is confirmed off for a while, or no more hope; the waiting began then [s]."""
        loop = asyncio.get_running_loop()
        since: float | None = None
        while True:
            end.why = self._judge(each, end)
            now = loop.time()
            if not end.why:
                # What counts is when it was read: a supply that takes its time is looked at seldom.
                read = now if end.read_at is None else end.read_at
                since = read if since is None else since
                self._asked[each.name].set()
                if read - since >= STEADY or self._hurry.is_set():
                    end.confirmed, self._confirmed_at[each.name] = True, read
                    self._tell("confirmed off", {"input": each.name, "time": now, "holds": end.holds})
                    return
            else:
                since = None
                # A supply that was silent before it holds nobody up for another while.
                heard = all(self._supplies[output.supply].heard for output in each.outputs)
                if end.off_read is not None or now - (began if heard else self._began) >= self.plan.silence:
                    self._asked[each.name].set()
                if self._hopeless(each, end, began, now):
                    return
            await asyncio.sleep(self.plan.every)

    def _hopeless(self, each: InputOff, end: InputEnd, began: float, now: float) -> bool:
        """Whether waiting on would be waiting for nothing."""
        supplies = [self._supplies[output.supply] for output in each.outputs]
        lost = [supply.lost_since for supply in supplies if supply.lost_since is not None]
        if self._hurry.is_set() and (lost or now - began > self.plan.silence):
            return True
        # One that comes and goes is lost anew each time.
        if now - began > self.plan.lost + 3 * self.plan.decay:
            return True
        if lost:
            return now - min(lost) > self.plan.lost
        # One that came back has its time from then on.
        since = max(began, *(supply.back_at for supply in supplies))
        return now - max(end.off_read or since, began) > self.plan.decay

    def _judge(self, each: InputOff, end: InputEnd) -> str:
        """What is missing for it to count as off; '' where nothing is. Takes over what was read."""
        self._see_sent(each, end)
        looks: list[Look] = []
        for output in each.outputs:
            supply = self._supplies[output.supply]
            if supply.lost_since is not None:
                return f"{supply.document.name} is lost ({supply.failure})"
            found = supply.looks.get(output.name)
            # It may say what it is each time before OFF goes out again.
            if found is None or found[1] < self._told_at.get(each.name, self._began):
                return f"{output.name} was not read since OFF"
            looks.append(found[0])
        end.read_at = min(self._supplies[o.supply].looks[o.name][1] for o in each.outputs)
        judged = judge_off(each, looks)
        end.voltage, end.current, end.holds = judged.voltage, judged.current, judged.holds
        if not judged.off:
            end.off_read = end.fell = None
            return judged.missing + self._of_masters(each)
        if end.off_read is None:
            end.off_read = end.read_at
        if judged.fallen and end.fell is None:
            end.fell = end.read_at
        return judged.missing

    def _of_masters(self, each: InputOff) -> str:
        """What the master switches of an input's outputs say, where those say that they are on."""
        supplies = {output.supply: self._supplies[output.supply] for output in each.outputs}
        off = [name for name, supply in supplies.items() if supply.is_master_off]
        return f", and the master switch of {' and '.join(off)} says off" if off else ""

    # Relays

    async def _rest_contacts(self) -> None:
        """Last of all, with a bound of its own: no output waits for a relay."""
        if not self._relays:
            return
        loop = asyncio.get_running_loop()
        resting = [*self._pins, *self._resting(of_pins=False)]
        last = loop.time() + RESTS_WITHIN
        while (now := loop.time()) < last and not all(task.done() for task in resting):
            if self._hurry.is_set():
                last = min(last, now + self.plan.silence)
            await asyncio.wait(resting, timeout=self.plan.every)
        for task in resting:
            task.cancel()
        await asyncio.gather(*resting, return_exceptions=True)
        for each, _ in self._relays:
            for own in each.contacts:
                if own.name not in self.contacts:
                    tell_contact(own, "it took too long; how it stands is unknown", self._rested)

    def _resting(self, *, of_pins: bool) -> list[asyncio.Task[None]]:
        """Begin to bring contacts to rest. of_pins: those that drive pins, which wait for no output, as no
        output waits for them; or those in leads.
        """
        chosen = [
            (replace(each, contacts=tuple(own for own in each.contacts if bool(own.pin) == of_pins)), session)
            for each, session in self._relays
        ]
        loop = asyncio.get_running_loop()
        return [
            loop.create_task(rest(each, session, self.plan.deadline, self._loaded, self._rested))
            for each, session in chosen
            if each.contacts
        ]

    def _loaded(self, contact: ContactOff) -> str:
        """Why a contact may not be moved now; '' where it may."""
        if not contact.under_load:
            for each in self.plan.inputs:
                if each.name in contact.inputs and self._has_come_on(each):
                    return f"{each.name} has come on again"
        return loaded(contact, self.ends)

    def _rested(self, what: str, fields: dict[str, Any]) -> None:
        self.contacts[fields["contact"]] = fields
        self._tell(what, fields)

    # One supply

    def _fed_by(self, name: str) -> list[InputOff]:
        return [each for each in self.plan.inputs if any(o.supply == name for o in each.outputs)]

    async def _take_master_off(self, supply: SupplySwitchedOff) -> None:
        """Once OFF has gone to all of its outputs, and each was read to be off or had its time for that: the
        master switch goes off, too, where none of them is to stay on.
        """
        mine = self._fed_by(supply.document.name)
        for each in mine:
            await self._begun[each.name].wait()
            if each.name not in self._told_at:
                # It waits for another, and may yet stay on. That is known soon, also where it is hurried.
                await self._asked[each.name].wait()
            else:
                await self._wait(self._asked[each.name], None)
        if not supply.master_wanted and not any(self.ends[each.name].kept_on for each in mine):
            supply.push_master()
            supply.wake.set()

    async def _see_master_off(self, supply: SupplySwitchedOff) -> None:
        """Wait until the master switch was read to be off, as long as there is hope, and tell it."""
        loop, name = asyncio.get_running_loop(), supply.document.name
        began, why = loop.time(), ""
        kept = [each.name for each in self._fed_by(name) if self.ends[each.name].kept_on]
        if not supply.master_wanted:
            why = f"{', '.join(kept)}: stays on" if kept else "it was told nothing"
        while not why and not supply.is_master_off:
            waits = self.plan.silence if self._hurry.is_set() else self.plan.decay
            if supply.lost_since is not None:
                why = f"{name} is lost ({supply.failure})"
            elif loop.time() - began > waits:
                read = supply.master_off
                on = read is not None and not read[0] and read[1] >= min(began, supply.master_sent)
                why = "it still says that it is on" if on else "it was not read since OFF"
            await asyncio.sleep(self.plan.every)
        self.masters[name] = {"name": name, "time": loop.time(), "off": not why, "why": why}
        self._tell("master", self.masters[name])

    async def _explain(self, supply: SupplySwitchedOff) -> None:
        """Tell the entries of a supply's error queue, none of which kept OFF waiting. Not where an output is
        not off, or its supply is lost.
        """
        ends = [self.ends[each.name] for each in self._fed_by(supply.document.name)]
        query, answers = supply.document.errors, list[str]()
        if not query or supply.lost_since is not None or not all(e.confirmed or e.kept_on for e in ends):
            return
        with suppress(SessionError, TimeoutError):
            async with asyncio.timeout(EXPLAINS_WITHIN):
                while len(answers) < MOST_ENTRIES and not self._hurry.is_set():
                    async with supply.session.lock:
                        answers.append((await supply.session.ask(query, self.plan.deadline)).answer)
                    if not _more_errors(answers[-1]):
                        break
        self._tell("errors", {"name": supply.document.name, "answers": answers})

    async def _end_watchdog(self, supply: SupplySwitchedOff) -> None:
        """Not where an output is neither confirmed off nor to stay on: the watchdog is what is left then."""
        name = supply.document.name
        left = [
            e.name
            for e in self._fed_by(name)
            if not (self.ends[e.name].confirmed or self.ends[e.name].kept_on)
        ]
        if left:
            why = f"{', '.join(left)}: not confirmed off"
        else:
            why = await end_watchdog(supply.document, supply.session, self.plan.deadline)
        self._tell("watchdog", {"name": name, "off": not why, "why": why})


def _more_errors(entry: str) -> bool:
    """Whether an entry of an error queue tells of an error, so that more may follow."""
    try:
        return int(entry.split(",")[0]) != 0
    except ValueError:
        return False


async def end_watchdog(document: SupplyOff, session: Session, deadline: float) -> str:
    """Switch a supply's communication watchdog off, and read that it is; '' where it is, else why not.
    deadline: of one exchange [s].
    """
    why, answer = "", ""
    for _ in range(WATCHDOG_TRIES):
        try:
            async with session.lock:
                for message in document.watchdog:
                    answer = (await session.say(message, deadline)).answer
        except SessionError as error:
            why = str(error)
        else:
            if answer.strip().upper() in document.watchdog_off:
                return ""
            why = f"its state reads {answer[:40]!r}"
        await asyncio.sleep(WATCHDOG_PAUSE)
    return why

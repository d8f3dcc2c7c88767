"""An output that does not go off while a dialect is provoked on it: it is said, nothing is raised there, and
Ctrl-C ends no more than the waiting.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import pytest
from tests.instruments.test_provoking import network_of
from tests.said import says

from railwright.dialects.dialect import load_dialect
from railwright.guard.local_link import LocalLink
from railwright.instruments.errors import InstrumentError
from railwright.instruments.guarded import open_guarded
from railwright.instruments.provoking import Connected, Provocation
from railwright.instruments.supply import OutputSetting, SupplyDriver
from railwright.running.energised import OffNotConfirmed
from railwright.running.interruption import StopRequest
from railwright.running.provoke import ITS_OUTPUT, bare_supply, provoke
from railwright.running.shutdown import ShutDown
from railwright.traces import EventKind
from railwright.twin.supply import TwinSupply
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

RESTORED = ("voltage", "current_limit")


@dataclass
class Ended:
    """How it ended, and what was true of the twin's output. highest: set point that it was told while on
    [V].
    """

    not_confirmed: str = ""
    raised: BaseException | None = None
    said: list[str] = field(default_factory=list)
    wrong: dict[str, str] = field(default_factory=dict)
    highest: float = 0.0
    stands: float = 0.0
    on: bool = False
    took: float = 0.0
    told_on: int = 0


def ended(
    name: str,
    connected: Connected = "open",
    *,
    was: float = 12.0,
    meddle: Callable[[TwinSupply], None] = lambda supply: None,
    at: Callable[[Provocation, VirtualLoop, VirtualNetwork], None] = lambda seen, loop, network: None,
    without: tuple[str, ...] = (),
) -> Ended:
    """3 V and 100 mA provoked on an output that stood at another voltage [V] before, and is off."""
    with network_of(name, connected) as (loop, network, address):
        twin, found = network.servers["left"].supply, Ended()
        twin.master = True
        link = LocalLink(loop, network.connect)
        dialect = load_dialect(name)
        kept = {each: how for each, how in dialect.settings.items() if each not in without}
        dialect = dialect.model_copy(update={"settings": kept})
        supply = SupplyDriver("left", bare_supply(dialect, address, 1, 3.0, 0.1), open_guarded(link))
        supply.connect()
        supply.identify()
        supply.put([OutputSetting(ITS_OUTPUT, "voltage", was)])
        meddle(twin)
        began, put = loop.time(), supply.put

        def counted(changes: list[OutputSetting]) -> object:
            for each in changes:
                found.told_on += each.setting == "output" and each.value is True
                if each.setting == "voltage" and network.on("left.1"):
                    found.highest = max(found.highest, float(each.value))
            return put(changes)

        supply.put = counted  # type: ignore[method-assign, assignment]
        try:
            came = provoke(
                link,
                supply,
                ITS_OUTPUT,
                connected,
                voltage=3.0,
                current=0.1,
                tell=lambda seen: at(seen, loop, network),
                restores=RESTORED,
                say=found.said.append,
            )
            found.not_confirmed = came.not_confirmed
            found.wrong = {each.provoked: each.wrong for each in came.seen if each.wrong}
        except (InstrumentError, OffNotConfirmed, KeyboardInterrupt) as error:
            found.raised = error
        found.took, found.on, found.stands = loop.time() - began, network.on("left.1"), twin.panels[0].voltage
        link.close()
        return found


@pytest.mark.parametrize("name", ["channel-list", "named-output", "selected-output"])
@pytest.mark.parametrize("was", [0.0, 3.0, 12.0, 20.0])
def test_one_that_says_off_and_stays_on_is_not_confirmed_and_nothing_is_raised(name: str, was: float) -> None:
    """At a set point of 0 V it reads 0 V; at that from before it would stand again."""
    found = ended(name, was=was, meddle=lambda twin: twin.sticking.update({0: True}))
    assert found.on
    assert "off" in found.wrong
    assert found.highest < 3.1
    assert found.stands == 0.0
    assert says(found.not_confirmed, "off", "10 s")


@pytest.mark.parametrize("was", [0.0, 12.0])
def test_shorted_it_shows_by_its_current(was: float) -> None:
    """Nothing shows there by a voltage, no OFF was provoked, and no trip takes it off in the end."""
    found = ended(
        "channel-list",
        "overloaded",
        was=was,
        meddle=lambda twin: twin.sticking.update({0: True}),
        without=("trip_at_limit", "ocp", "ocp_on", "opp", "opp_on"),
    )
    assert found.on
    assert found.stands == 0.0
    assert found.not_confirmed


@pytest.mark.parametrize("connected", ["open", "overloaded"])
def test_one_that_goes_off_has_its_settings_again(connected: Connected) -> None:
    found = ended("channel-list", connected)
    assert (found.on, found.stands, found.not_confirmed, found.wrong) == (False, 12.0, "", {})


def test_one_that_still_says_on_is_told_no_word_for_on() -> None:
    """It was told on once, to provoke that; what its word for off does is not tried by that for on."""
    found = ended("channel-list", meddle=lambda twin: twin.sticking.update({0: False}))
    assert isinstance(found.raised, OffNotConfirmed)
    assert found.told_on == 1
    assert found.highest < 3.1


def interrupted(seen: Provocation) -> None:
    if seen.provoked == "CV":
        os.kill(os.getpid(), signal.SIGINT)


def silent(seen: Provocation, loop: VirtualLoop, network: VirtualNetwork) -> None:
    if seen.provoked == "on":
        server = network.servers["left"]
        loop.call_later(0.5, server.refuse, True)
        loop.call_later(0.5, server.drop, "reset")


def test_a_ctrl_c_ends_with_off_and_says_that_it_is() -> None:
    found = ended("channel-list", at=lambda seen, loop, network: interrupted(seen))
    assert isinstance(found.raised, KeyboardInterrupt)
    assert not found.on
    assert says(found.said[-1], "left.1", "off confirmed")


def test_a_lost_link_that_comes_back_says_what_is_off() -> None:
    def lose(seen: Provocation, loop: VirtualLoop, network: VirtualNetwork) -> None:
        silent(seen, loop, network)
        if seen.provoked == "on":
            loop.call_later(3.0, network.servers["left"].refuse, False)

    found = ended("channel-list", at=lose)
    assert isinstance(found.raised, InstrumentError)
    assert not found.on
    assert says(found.said[0], "left", "lost", "mains switch")
    assert says(found.said[-1], "left.1", "off confirmed")


@pytest.mark.parametrize("after", [1.0, 4.0])
def test_a_ctrl_c_while_off_is_waited_for_ends_the_waiting_and_says_not_confirmed(after: float) -> None:
    def lose(seen: Provocation, loop: VirtualLoop, network: VirtualNetwork) -> None:
        silent(seen, loop, network)
        if seen.provoked == "on":
            loop.call_later(0.5 + after, os.kill, os.getpid(), signal.SIGINT)

    found = ended("channel-list", at=lose)
    assert isinstance(found.raised, OffNotConfirmed)
    assert says(str(found.raised), "OFF NOT CONFIRMED", "left.1", "mains switch")
    assert found.took < 15.0


def test_a_switch_that_reads_back_otherwise_is_told_by_its_words() -> None:
    with network_of("channel-list", "open") as (loop, network, address):
        link = LocalLink(loop, network.connect)
        document = bare_supply(load_dialect("channel-list"), address, 1, 3.0, 0.1)
        supply = SupplyDriver("left", document, open_guarded(link))
        supply.connect()
        supply.identify()
        supply.put([OutputSetting(ITS_OUTPUT, "output", True)])
        network.servers["left"].supply.sticking[0] = False
        with pytest.raises(InstrumentError) as raised:
            supply.put([OutputSetting(ITS_OUTPUT, "output", False)])
        assert says(str(raised.value), "set to off", "reads back as on")
        link.close()


def test_off_that_is_sent_again_many_times_is_told_once_and_counted() -> None:
    told: list[tuple[EventKind, str, str]] = []
    recorder: Any = SimpleNamespace(
        event=lambda kind, name, text="", time=None: told.append((kind, name, text)),
        at=lambda time: time,
        newest={},
    )
    rig: Any = SimpleNamespace(now=lambda: 0.0, ever_on=set(), set_points={})
    none: Any = None
    shut_down = ShutDown(rig, recorder, none, none)

    def over(tell: Any, urgent: Any) -> dict[str, Any]:
        for output in ("left.1",) * 90 + ("left.2",):
            tell({"kind": "off", "what": "off again", "output": output, "read": True})
        return {"ends": {}}

    link: Any = SimpleNamespace(finish_off=over)
    shut_down.go(link, StopRequest())
    assert [name for _, name, _ in told] == ["left.1", "left.2", "left.1"]
    assert {kind for kind, _, _ in told} == {EventKind.OFF_SENT_AGAIN}
    assert says(told[-1][2], "90 times")

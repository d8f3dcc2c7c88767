"""OFF at a supply that selects an output in a message of its own, while its other output is read and stays
on; in virtual time. OFF goes to the one output, soon, whatever is under way and whoever else selects.
"""

from __future__ import annotations

import asyncio
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.guard.test_opening import network
from tests.instruments.terse_supply import TerseSupply

from railwright.guard.local_link import LocalLink
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, SupplyOff, read_look
from railwright.guard.session_settings import SessionSettings
from railwright.virtual_time import VirtualLoop

LOOK = tuple(
    message for name in ("LEFT", "RIGHT") for message in (f"SELect {name}", "OUT?", "READ?", "SELect?")
)


def output(name: str, first: int, selected: bool) -> OutputOff:
    places = {"state": (first, 0), "voltage": (first + 1, 0), "current": (first + 1, 1)}
    made = OutputOff(
        f"terse.{name}",
        "terse",
        (f"SELect {name}", "OUT 0"),
        no_current=0.01,
        set_voltage=(f"SELect {name}", "VSET {}"),
        **places,
    )
    return replace(made, selected=(first + 2, 0), selected_as=name) if selected else made


def plan_for(spoken: SessionSettings, *, right: str = "stays on", selected: bool = True) -> OffPlan:
    """LEFT goes off; RIGHT stays on, or goes off after it, led down to 0 V first or not."""
    left = InputOff("left", (output("LEFT", 0, selected),), False, 1.0)
    after = InputOff(
        "right",
        (output("RIGHT", 3, selected),),
        False,
        1.0,
        stays_on="the person said so" if right == "stays on" else "",
        only_after=("left",) if right == "after" else (),
        ramp_down=0.3 if right == "led down" else 0.0,
    )
    supply = SupplyOff("terse", "terse", "*IDN?", "", LOOK, session_settings=spoken)
    return OffPlan((supply,), (left, after), decay=3.0, lost=2.0)


def energised(supply: TerseSupply) -> TerseSupply:
    for each in supply.outputs.values():
        each.on = True
        each.set |= {"VSET": 12.0, "ISET": 2.0}
    supply.remote = True
    return supply


def wrong_outputs(supply: TerseSupply) -> list[str]:
    """Every OUT 0 at the output that was selected when it came, and every other command so."""
    selected, found = "LEFT", []
    for _, message in supply.took:
        if message.startswith("SELect "):
            selected = message.partition(" ")[2]
        elif message == "OUT 0":
            found.append(selected)
    return found


def off_while_read(
    supply: TerseSupply, spoken: SessionSettings, at: float, right: str = "stays on"
) -> tuple[LocalLink, float, dict[str, dict[str, object]]]:
    """Both are read all the time; OFF after `at` [s]: the link, when OFF began, and the ends."""
    loop = VirtualLoop()
    link = LocalLink(loop, network(loop, energised(supply)))
    link.open("terse", "terse", "*IDN?", 1.0, spoken)
    link.arm(plan_for(spoken, right=right))
    link.poll("terse", "readings", LOOK, start=link.now(), every=1e-3, deadline=1.0)
    link.sleep(at)
    began = link.now()
    link.begin_off("the end", orderly=True)
    ends = link.finish_off(lambda message: None)["ends"]
    return link, began, ends


@given(at=st.floats(0.01, 0.1), wants=st.sampled_from([0.0, 0.0, 1e-3, 5e-3, 0.03]))
@settings(max_examples=60, deadline=None)
def test_off_reaches_its_output_and_none_else_while_readings_select(at: float, wants: float) -> None:
    """The supply takes nothing that comes too soon after the last message: then a selection that is lost
    would have OFF go to the output that was read.
    """
    supply = TerseSupply(wants=0.9 * wants)
    _, began, ends = off_while_read(supply, SessionSettings(pause=wants), at)
    assert ends["left"]["confirmed"]
    assert not supply.outputs["LEFT"].on
    assert supply.outputs["RIGHT"].on
    assert set(wrong_outputs(supply)) == {"LEFT"}
    first = next(when for when, message in supply.took if message == "OUT 0")
    assert first - began < 2 * wants + 1e-3


@pytest.mark.parametrize("right", ["after", "led down"])
@pytest.mark.parametrize("wants", [0.0, 2e-3, 0.02, 0.0201])
@pytest.mark.parametrize("at", [0.0103, 0.0517, 0.0729])
def test_one_that_goes_off_after_another_or_is_led_down_is_told_for_itself(
    right: str, wants: float, at: float
) -> None:
    supply = TerseSupply(wants=0.9 * wants)
    _, _, ends = off_while_read(supply, SessionSettings(pause=wants), at, right)
    assert all(end["confirmed"] for end in ends.values())
    offs = wrong_outputs(supply)
    assert offs[0] == "LEFT"
    assert "RIGHT" in offs
    if right == "led down":
        # Its voltage went down in stairs, and that of the other stood until it was off.
        assert supply.outputs["LEFT"].set["VSET"] == 12.0
        assert supply.outputs["RIGHT"].set["VSET"] == 0.0


@pytest.mark.parametrize("wants", [5e-3, 0.015, 0.025])
def test_stairs_that_a_slow_supply_has_not_taken_hold_up_no_off(wants: float) -> None:
    """A stair every 20 ms, each two messages with a pause before each: hurried in the middle of it, OFF goes
    out after what is under way, not after all that was due by then.
    """
    supply = energised(TerseSupply(wants=0.9 * wants))
    loop = VirtualLoop()
    spoken = SessionSettings(pause=wants)
    link = LocalLink(loop, network(loop, supply))
    link.open("terse", "terse", "*IDN?", 1.0, spoken)
    plan = plan_for(spoken, right="led down")
    inputs = tuple(replace(each, ramp_down=20.0 * each.ramp_down) for each in plan.inputs)
    link.arm(replace(plan, inputs=inputs))
    link.begin_off("the end", orderly=True)
    link.sleep(4.0)
    assert supply.outputs["RIGHT"].on
    hurried = link.now()
    link.finish_off(lambda message: None, urgent=lambda: True)
    went = [when for when, message in supply.took if message == "OUT 0" and when > hurried]
    assert went
    assert went[0] - hurried < 4 * wants + 0.15
    assert not supply.outputs["RIGHT"].on


@pytest.mark.parametrize(("sticks", "pause"), [(False, 0.0), (True, 0.0), (True, 2e-3), (True, 0.01)])
@pytest.mark.parametrize("every", [1e-4, 1e-3, 3.1e-3, 7.7e-3, 0.05])
def test_somebody_else_who_selects_has_nothing_called_off_that_was_not_read(
    every: float, sticks: bool, pause: float
) -> None:
    """The looks that came while another was selected, which is off, are thrown away; OFF is sent again until
    one fits.
    """
    supply, loop = energised(TerseSupply()), VirtualLoop()
    supply.outputs["RIGHT"].on, supply.outputs["LEFT"].sticks = False, sticks
    link = LocalLink(loop, network(loop, supply))
    spoken = SessionSettings(pause=pause)
    link.open("terse", "terse", "*IDN?", 1.0, spoken)
    plan = plan_for(spoken)
    link.arm(plan)

    async def select() -> None:
        while True:
            await asyncio.sleep(every)
            supply.selected = "RIGHT"

    other = loop.create_task(select())
    link.begin_off("the end")
    ends = link.finish_off(lambda message: None)["ends"]
    other.cancel()
    if not pause:
        # It was told, whoever else selected: both messages leave together.
        assert set(wrong_outputs(supply)) == {"LEFT"}
    assert supply.outputs["LEFT"].on is sticks
    if sticks:
        assert not ends["left"]["confirmed"]


def test_a_look_at_another_output_is_none() -> None:
    left, right = (inner for each in plan_for(SessionSettings()).inputs for inner in each.outputs)
    answers = ["0", "0V,0A", "LEFT", "1", "12V,0.5A", "RIGHT"]
    look = read_look(left, answers)
    assert look is not None
    assert (look.off, look.voltage) == (True, 0.0)
    answers[2] = "RIGHT"
    assert read_look(left, answers) is None
    other = read_look(right, answers)
    assert other is not None
    assert (other.off, other.voltage, other.current) == (False, 12.0, 0.5)

"""What the guard tells of its own failures, in virtual time."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from railwright.guard.local_link import LocalLink
from railwright.guard.off import SwitchOff
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, SupplyOff
from railwright.virtual_time import VirtualLoop


async def nobody(address: str) -> Any:
    raise ConnectionRefusedError


def test_a_fault_in_switching_off_is_told_as_an_end_that_confirms_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    async def fail(self: SwitchOff, *, orderly: bool = False) -> Any:
        await asyncio.sleep(0.1)
        raise RuntimeError("whatever")

    monkeypatch.setattr(SwitchOff, "go", fail)
    output = OutputOff("left.1", "left", ("OFF",), (0, 0), (1, 0), (2, 0), no_current=0.01)
    supply = SupplyOff("left", "left", "*IDN?", "", ("LOOK?",))
    link = LocalLink(VirtualLoop(), nobody)
    link.arm(OffPlan((supply,), (InputOff("main", (output,), False, 1.0),)))
    link.begin_off("the end")
    over = link.finish_off(lambda message: None)
    assert not over["ends"]["main"]["confirmed"]
    assert over["ends"]["main"]["why"] == "a fault of the program: RuntimeError('whatever')"
    link.close()

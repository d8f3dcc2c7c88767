"""The driver's dialects against the twin, which was written by another hand: every command is understood."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from railwright.dialects.dialect import load_dialect
from railwright.dialects.files import dialect_names
from railwright.documents.bench import Bench, OverCurrent, OverPower
from railwright.documents.loader import load_bench
from railwright.examples import example
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import VisaSession
from railwright.instruments.supply import OutputSetting, SupplyDriver
from railwright.traces import Mode
from railwright.twin.launcher import TwinBench

pytestmark = pytest.mark.alone

BENCH = example() / "quay.bench.yaml"
OTHERS = [name for name in dialect_names() if name not in ("channel-list", "selected-output")]
"""Dialects in which no supply of the bench is spoken to."""


@pytest.fixture(scope="module")
def bench() -> Iterator[Bench]:
    with TwinBench(_of_every_dialect(_with_own_levels(load_bench(BENCH).model))) as twins:
        yield twins.bench


def _with_own_levels(bench: Bench) -> Bench:
    """The bench with over-power and over-current protections of their own on every output."""
    own = {
        "opp": OverPower.model_validate({"level": "1 W .. 66 W"}),
        "ocp": OverCurrent.model_validate({"level": "0 A .. 1.1 A", "delay": "0 s .. 1 s"}),
    }
    supplies = {}
    for name, supply in bench.supplies.items():
        outputs = {each: output.model_copy(update=own) for each, output in supply.outputs.items()}
        supplies[name] = supply.model_copy(update={"outputs": outputs})
    return bench.model_copy(update={"supplies": supplies})


def _of_every_dialect(bench: Bench) -> Bench:
    """The bench, and for each further dialect a supply like 'left', under its name."""
    left = bench.supplies["left"]
    first = {"1": left.outputs["1"]}
    more = {
        name: left.model_copy(
            update={"dialect": (dialect := load_dialect(name))}
            | (
                {"outputs": first, "coupled": (), "common_negative": ()}
                if dialect.addressing == "none"
                else {}
            )
        )
        for name in OTHERS
    }
    return bench.model_copy(update={"supplies": {**bench.supplies, **more}})


@pytest.fixture(params=["left", "right", *OTHERS])
def supply(bench: Bench, request: pytest.FixtureRequest) -> Iterator[SupplyDriver]:
    made = SupplyDriver(request.param, bench.supplies[request.param], VisaSession)
    made.connect()
    made.clear()
    yield made
    made.close()


def test_it_is_the_instrument_of_the_bench(supply: SupplyDriver) -> None:
    identity = supply.identify()
    assert (identity.model, identity.serial) == (supply.document.model, supply.document.serial)


def test_every_setting_is_taken_and_read_back(supply: SupplyDriver) -> None:
    changes = [
        OutputSetting("1", "output", False),
        OutputSetting("1", "voltage_range", supply.document.outputs["1"].voltage.high),
        OutputSetting("1", "voltage", 5.0),
        OutputSetting("1", "current_range", supply.document.outputs["1"].current.high),
        OutputSetting("1", "current_limit", 0.5),
        OutputSetting("1", "ovp", 18.0),
        OutputSetting("1", "ovp_on", True),
        OutputSetting("1", "trip_at_limit", True),
        OutputSetting("1", "trip_delay", 0.04),
        OutputSetting("1", "opp", 30.0),
        OutputSetting("1", "opp_on", True),
        OutputSetting("1", "ocp", 0.9),
        OutputSetting("1", "ocp_on", True),
        OutputSetting("1", "ocp_delay", 0.02),
        OutputSetting("1", "slew_rising", 2000.0),
        OutputSetting("1", "slew_falling", 100.0),
        OutputSetting("1", "sense", "at load"),
        OutputSetting("1", "voltage_mode", "fixed"),
    ]
    dialect = supply.dialect
    assert {change.setting for change in changes} == {*dialect.settings, *dialect.impossible}
    if supply.document.outputs["1"].points is None:
        changes.pop()
    # What a switch at the instrument sets stands as the twin of it has it.
    told = [
        each for each in changes if each.setting in dialect.settings and not dialect.can_set(each.setting)
    ]
    supply.put([each for each in changes if dialect.can_set(each.setting)])
    for change in told:
        assert dialect.by_hand(change.setting) or change.setting == "sense"
    supply.clear_trips("1")
    if supply.has_master:
        supply.switch_master(True)
    supply.put_together([OutputSetting("1", "output", True), OutputSetting("1", "voltage", 4.0)])
    assert supply.state("1")
    assert supply.read(["1"])["1"].mode in (Mode.CV, Mode.CC)
    supply.switch_off(["1"])
    supply.verify([OutputSetting("1", "output", False), OutputSetting("1", "voltage", 4.0)])
    if supply.has_master:
        supply.switch_master(False)
        assert not supply.master()


def test_the_point_list_is_understood(bench: Bench) -> None:
    supply = SupplyDriver("left", bench.supplies["left"], VisaSession)
    supply.connect()
    points = supply.dialect.points
    assert points is not None
    for header in (points.voltages, points.dwells, points.count, points.between):
        assert header is not None
        supply.ask(f"{header}? (@1)")
        assert supply.errors() == ()
    supply.close()


def test_what_the_twin_refuses_is_told(supply: SupplyDriver) -> None:
    """By its error queue, by its event status register, or by what the query answers."""
    if supply.dialect.instrument.next_error is not None:
        told = r"-222.*Data out of range"
    elif supply.dialect.instrument.event_status is not None:
        told = "reports an execution error"
    else:
        told = "voltage was set to 400.0 and reads back as"
    with pytest.raises(InstrumentError, match=told):
        supply.put([OutputSetting("1", "voltage", 400.0)])

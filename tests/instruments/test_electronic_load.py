"""The driver of an electronic load against its simulated one, at the end of a lead: Ohm's law judges."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from tests.proving.bench import bench_with_load

from railwright.documents.output_name import OutputName
from railwright.guard.local_link import LocalLink
from railwright.instruments.electronic_load import ElectronicLoadDriver
from railwright.instruments.errors import InstrumentError
from railwright.instruments.guarded import open_guarded
from railwright.instruments.off_entries import plan_of_outputs
from railwright.instruments.supply import OutputSetting, SupplyDriver
from railwright.proving.simulated import simulated_place
from railwright.traces import Mode
from railwright.twin.virtual_network import VirtualNetwork

Place = tuple[LocalLink, VirtualNetwork, SupplyDriver, ElectronicLoadDriver]


@contextmanager
def place(output: str = "left.1", lead: str = "silicone pair", **given: bool) -> Iterator[Place]:
    bench = bench_with_load()
    name = OutputName(output)
    with simulated_place(bench, name, lead, "sink", **given) as (link, network):
        opened = open_guarded(link)
        supply = SupplyDriver(name.supply, bench.supplies[name.supply], opened)
        load = ElectronicLoadDriver("sink", bench.electronic_loads["sink"], opened)
        for driver in (supply, load):
            driver.connect()
            driver.identify()
        link.arm(plan_of_outputs({supply: (name.output,)}, [load]))
        load.prepare()
        yield link, network, supply, load


def energise(supply: SupplyDriver, output: str, volts: float, limit: float) -> None:
    settings = (("voltage", volts), ("current_limit", limit), ("output", True))
    supply.put([OutputSetting(output, name, value) for name, value in settings])  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("output", "lead", "volts", "amperes"),
    [
        ("left.1", "silicone pair", 5.0, 0.8),
        ("left.2", "silicone pair", 12.0, 1.7),
        ("right.1", "thin pair", 24.0, 0.4),
        ("left.1", "thin pair", 3.0, 0.05),
    ],
)
def test_a_constant_current_drops_its_voltage_along_the_lead(
    output: str, lead: str, volts: float, amperes: float
) -> None:
    with place(output, lead) as (link, network, supply, load):
        own = OutputName(output).output
        energise(supply, own, volts, 1.2 * amperes)
        load.draw(amperes)
        link.sleep(0.1)
        before = load.measure()
        assert abs(before.current) < 2e-3
        load.take_on()
        link.sleep(0.3)
        read, taken = supply.read([own])[own], load.measure()
        assert read.mode is Mode.CV
        assert taken.current == pytest.approx(amperes, rel=2e-3, abs=3e-3)
        resistance = network.parameters.parameters[f"{lead}.lead.resistance"].value
        true, flows = network.voltage(output), network.current(output)
        assert flows == pytest.approx(amperes, rel=2e-3, abs=3e-3)
        assert taken.voltage == pytest.approx(true - flows * resistance, rel=5e-4, abs=4e-3)


def test_beyond_the_current_limit_the_output_decides() -> None:
    with place() as (link, network, supply, load):
        energise(supply, "1", 5.0, 0.5)
        load.draw(0.9)
        load.take_on()
        link.sleep(0.3)
        read, taken = supply.read(["1"])["1"], load.measure()
        assert read.mode is Mode.CC
        assert taken.current == pytest.approx(0.5, abs=6e-3)
        assert taken.voltage < 1.0  # where it cannot draw what is set
        assert network.current("left.1") == pytest.approx(0.5, abs=6e-3)


def test_the_off_plan_switches_its_input_off_too() -> None:
    with place() as (link, network, supply, load):
        energise(supply, "1", 5.0, 0.5)
        load.draw(0.3)
        load.take_on()
        link.sleep(0.1)
        assert network.loads["sink"].load.on
        link.begin_off("the test is over")
        ends = link.finish_off(lambda message: None)["ends"]
        assert {name: end["confirmed"] for name, end in ends.items()} == {"left.1": True, "sink.input": True}
        assert not network.loads["sink"].load.on
        assert not network.on("left.1")
        with pytest.raises(InstrumentError):
            load.take_on()


def test_a_run_that_dies_leaves_its_input_off() -> None:
    with place() as (link, network, supply, load):
        energise(supply, "1", 5.0, 0.5)
        load.draw(0.3)
        load.take_on()
        link.cut()
        assert not network.loads["sink"].load.on
        assert not network.on("left.1")


def test_one_that_lies_beside_reads_nothing() -> None:
    with place(connected=False) as (link, _, supply, load):
        energise(supply, "1", 5.0, 0.5)
        load.draw(0.3)
        load.take_on()
        link.sleep(0.2)
        taken = load.measure()
        assert abs(taken.voltage) < 5e-3
        assert abs(taken.current) < 2e-3


@pytest.mark.parametrize("current", [10.1, 1e6])
def test_what_it_cannot_draw_is_refused(current: float) -> None:
    with place() as (_, network, _, load):
        with pytest.raises(InstrumentError, match="-222"):
            load.draw(current)
        assert network.loads["sink"].load.current == 0.0


def test_another_instrument_is_refused() -> None:
    bench = bench_with_load(model="EL-601")
    with simulated_place(bench_with_load(), OutputName("left.1"), "silicone pair", "sink") as (link, _):
        load = ElectronicLoadDriver("sink", bench.electronic_loads["sink"], open_guarded(link))
        load.connect()
        with pytest.raises(InstrumentError, match="EL-601"):
            load.identify()

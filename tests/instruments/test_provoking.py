"""What a dialect says, provoked on simulated supplies in virtual time: it comes, or is found not to."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import pytest
from tests.said import says

from railwright.dialects.dialect import Dialect, load_dialect
from railwright.dialects.files import dialect_names, dialect_text
from railwright.dialects.proofs import Provoked, provokable
from railwright.documents.bench import OverCurrent, OverPower
from railwright.documents.dialect_files import read_dialect
from railwright.documents.loader import load_documents
from railwright.examples import example
from railwright.guard.local_link import LocalLink
from railwright.instruments.errors import InstrumentError
from railwright.instruments.guarded import open_guarded
from railwright.instruments.provoking import Connected, Provocation
from railwright.instruments.supply import SupplyDriver
from railwright.running.energised import OffNotConfirmed
from railwright.running.provoke import BESIDE, ITS_OUTPUT, bare_supply, proofs_of, provoke
from railwright.twin.faults import TwinFault
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

SLEWS: tuple[Provoked, ...] = ("rising slew", "falling slew")
OPEN: tuple[Provoked, ...] = ("on", "CV", *SLEWS, "OVP", "linked", "off")
OWN = {
    "opp": OverPower.model_validate({"level": "0 W .. 66 W"}),
    "ocp": OverCurrent.model_validate({"level": "0 A .. 1.1 A", "delay": "0 s .. 1 s"}),
}


@dataclass
class Tried:
    """What came, and what was true of the twin's output: when it was on, and at most which voltage."""

    seen: dict[Provoked, Provocation]
    not_confirmed: str
    energised: tuple[tuple[float, float | None], ...]
    on: bool
    supply: SupplyDriver
    ovp: float


@contextmanager
def network_of(speaks: str, connected: Connected) -> Iterator[tuple[VirtualLoop, VirtualNetwork, str]]:
    """A twin of 'left', which has every protection, with nothing or a short at its output."""
    documents, loop = load_documents(example() / "power-input.procedure.yaml"), VirtualLoop()
    left, dialect = documents.bench.supplies["left"], load_dialect(speaks)
    one = dialect.addressing == "none"
    outputs = {n: o.model_copy(update=OWN) for n, o in left.outputs.items() if n == "1" or not one}
    left = left.model_copy(update={"dialect": dialect, "outputs": outputs})
    bench = documents.bench.model_copy(update={"supplies": {"left": left}})
    if connected == "open":
        with VirtualNetwork(loop, bench) as network:
            yield loop, network, left.address
        return
    procedure = documents.procedure.model_copy(
        update={"hook_up": {n: h for n, h in documents.procedure.hook_up.items() if n == "main"}}
    )
    short = TwinFault("short", ("main",))
    with VirtualNetwork(loop, bench, documents.device, procedure, faults=[short]) as network:
        yield loop, network, left.address


def tried(dialect: Dialect, speaks: str, connected: Connected, *, master: bool = True) -> Tried:
    """The dialect tried on a twin that speaks one of the package's; master: its master switch is on."""
    with network_of(speaks, connected) as (loop, network, address):
        twin = network.servers["left"].supply
        twin.master = master or not twin.family.master
        link = LocalLink(loop, network.connect)
        beside = BESIDE if connected == "open" and dialect.addressing != "none" else ""
        document = bare_supply(dialect, address, 1, 3.0, 0.1, 2 if beside else None)
        supply = SupplyDriver("left", document, open_guarded(link))
        supply.connect()
        supply.identify()
        try:
            came = provoke(link, supply, ITS_OUTPUT, connected, voltage=3.0, current=0.1, beside=beside)
        finally:
            link.close()
        return Tried(
            {each.provoked: each for each in came.seen},
            came.not_confirmed,
            network.energised("left.1"),
            network.on("left.1"),
            supply,
            network.servers["left"].supply.panels[0].ovp,
        )


@pytest.mark.parametrize("name", dialect_names())
def test_everything_comes_that_a_dialect_has_commands_for(name: str) -> None:
    dialect, found = load_dialect(name), set[Provoked]()
    for connected in ("open", "overloaded"):
        came = tried(dialect, name, connected)
        assert [each for each in came.seen.values() if each.wrong] == []
        assert came.not_confirmed == ""
        assert came.energised
        assert not came.on
        assert came.ovp == 38.0  # as it was
        found |= set(came.seen)
    assert found == set(provokable(dialect))


@pytest.mark.parametrize("name", [n for n in dialect_names() if load_dialect(n).can_set("ocp_delay")])
def test_an_output_without_a_delay_is_proved_with_a_dialect_that_has_one(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The output's over-current protection acts at once; the command for a delay is refused with -241."""
    at_once = OverCurrent.model_validate({"level": "0 A .. 1.1 A"})
    monkeypatch.setitem(OWN, "ocp", at_once)
    seen = tried(load_dialect(name), name, "overloaded").seen
    assert [each for each in seen.values() if each.wrong] == []
    assert seen["OCP"].proved


@pytest.mark.parametrize("name", ["prefixed", "numbered-header"])
def test_a_master_switch_that_is_off_is_not_switched_on_for_outputs_nobody_knows_of(name: str) -> None:
    with pytest.raises(InstrumentError) as raised:
        tried(load_dialect(name), name, "open", master=False)
    assert says(str(raised.value), "master switch", "off")


@pytest.mark.parametrize("name", ["prefixed", "numbered-header"])
def test_what_is_provoked_leaves_the_master_switch_as_it_is(name: str) -> None:
    """Other outputs hang on it, too."""
    with network_of(name, "open") as (loop, network, address):
        twin = network.servers["left"].supply
        twin.switch_master(True)
        twin.switch(1, True)
        link = LocalLink(loop, network.connect)
        supply = SupplyDriver(
            "left", bare_supply(load_dialect(name), address, 1, 3.0, 0.1), open_guarded(link)
        )
        supply.connect()
        supply.identify()
        came = provoke(link, supply, ITS_OUTPUT, "open", voltage=3.0, current=0.1)
        link.close()
        assert came.not_confirmed == ""
        assert [each.provoked for each in came.seen if not each.proved] == []
        assert (network.on("left.1"), network.on("left.2"), twin.master) == (False, True, True)


def changed(name: str, old: str, new: str) -> Dialect:
    text = dialect_text(name)
    assert text.count(old) == 1, old
    return read_dialect(text.replace(old, new), "mine.yaml")


def slew_case(name: str, setting: str, unit: str, wrong: set[Provoked]) -> tuple[Any, ...]:
    """A slew in another unit than the supply's."""
    header = f"SOURce:VOLTage:SLEW{':FALLing' if setting == 'slew_falling' else ''}"
    (line,) = (line for line in dialect_text(name).splitlines() if line.startswith(f"  {setting}:"))
    scaled = f'  {setting}: {{command: "{header}", query: "{header}?", unit: {unit}}}'
    return name, line, scaled, "open", wrong


@pytest.mark.parametrize(
    ("name", "old", "new", "connected", "wrong"),
    [
        # A linked trip follows an OVP of the other output.
        ("channel-list", "OVP: 12,", "OVP: 13,", "open", {"OVP", "linked"}),
        ("channel-list", "current limit: 9,", "current limit: 8,", "overloaded", {"current limit"}),
        ("channel-list", "OCP: 11,", "OCP: 7,", "overloaded", {"OCP"}),
        ("channel-list", "OPP: 3,", "OPP: 5,", "overloaded", {"OPP"}),
        ("channel-list", "{CV: 10, CC: 11, CP: 12}", "{CV: 11, CC: 10, CP: 12}", "open", {"CV"}),
        ("channel-list", "{CV: 10, CC: 11, CP: 12}", "{CV: 11, CC: 10, CP: 12}", "overloaded", {"CC"}),
        ("named-output", "{CV: CV, CC: CC, CP: CP}", "{CV: CC, CC: CV, CP: CP}", "open", {"CV"}),
        ("named-output", "{CV: CV, CC: CC, CP: CP}", "{CV: CC, CC: CV, CP: CP}", "overloaded", {"CC"}),
        # What reads V is in mV: nothing that is set comes.
        (
            "channel-list",
            "  voltage: MEASure:VOLTage?",
            "  voltage_unit: mV\n  voltage: MEASure:VOLTage?",
            "open",
            {*OPEN},
        ),
        (
            "channel-list",
            "  current: FETCh:CURRent?",
            "  current_unit: mA\n  current: FETCh:CURRent?",
            "overloaded",
            {"CC", "OCP", "OPP"},
        ),
        # What it takes in V/s is told in V/ms: a thousandth; and the other way round, a thousand times.
        slew_case("channel-list", "slew_rising", "V/ms", {"rising slew"}),
        slew_case("single-output", "slew_rising", "mV/s", {"rising slew"}),
        slew_case("prefixed", "slew_falling", "V/ms", {"falling slew"}),
        slew_case("selected-apart", "slew_falling", "kV/s", {"falling slew"}),
        # One slew for both ways, by the dialect, of a supply that has two.
        (
            "named-output",
            "  slew_falling: SOURce:VOLTage:SLEW:FALLing        # not in SCPI-1999\n",
            "",
            "open",
            {"falling slew"},
        ),
        # A trip that follows another output's is told by the bit for too much heat.
        (
            "named-output",
            "linked: 10, OPP: 3, OCP: 11, OTP: 4",
            "linked: 4, OPP: 3, OCP: 11, OTP: 10",
            "open",
            {"linked"},
        ),
        ("prefixed", "linked: 10, OTP: 4", "linked: 8, OTP: 4", "open", {"linked"}),
        # Set in mA, which the supply takes for A: more comes than was asked for, or it refuses.
        (
            "selected-output",
            "  current_limit: SOURce:CURRent\n",
            '  current_limit: {command: "SOURce:CURRent", query: "SOURce:CURRent?", unit: A}\n',
            "overloaded",
            set(),
        ),
    ],
)
def test_what_is_wrong_in_a_dialect_is_found(
    name: str, old: str, new: str, connected: Connected, wrong: set[Provoked]
) -> None:
    came = tried(changed(name, old, new), name, connected)
    assert {each.provoked for each in came.seen.values() if each.wrong} == wrong
    assert not came.on
    assert came.not_confirmed == ""


def test_a_unit_of_a_set_point_that_is_wrong_ends_before_anything_is_on() -> None:
    """3 V in the supply's mV are 3000, which it refuses."""
    scaled = '  voltage: {command: "SOURce:VOLTage", query: "SOURce:VOLTage?", unit: mV}\n'
    came = tried(changed("channel-list", "  voltage: SOURce:VOLTage\n", scaled), "channel-list", "open")
    assert {each.provoked for each in came.seen.values() if each.wrong} == {*OPEN}
    assert came.energised == ()


@pytest.mark.parametrize("name", ["named-output", "numbered-header"])
def test_delays_of_two_protections_that_are_exchanged_are_found(name: str) -> None:
    dialect = load_dialect(name)
    own = dialect.settings
    other = {"trip_delay": own["ocp_delay"], "ocp_delay": own["trip_delay"]}
    exchanged = dialect.model_copy(update={"settings": {**own, **other}})
    seen = tried(exchanged, name, "overloaded").seen
    assert {each.provoked for each in seen.values() if each.wrong} == {"current limit", "OCP"}


def test_words_that_are_exchanged_end_at_the_lowest_voltage() -> None:
    """Numbers cannot be exchanged in a file; words of its own can."""
    text = dialect_text("channel-list").replace('"on": "ON", "off": "OFF"', '"on": "MIN", "off": "MAX"')
    with pytest.raises(InstrumentError):
        tried(read_dialect(text, "mine.yaml"), "channel-list", "open")


@pytest.mark.parametrize("connected", ["open", "overloaded"])
def test_what_is_connected_otherwise_proves_nothing_of_it(connected: Connected) -> None:
    """A short where nothing should be connected, and nothing where a short should be."""
    dialect = load_dialect("channel-list")
    other: Connected = "overloaded" if connected == "open" else "open"
    with network_of("channel-list", other) as (loop, network, address):
        link = LocalLink(loop, network.connect)
        supply = SupplyDriver("left", bare_supply(dialect, address, 1, 3.0, 0.1), open_guarded(link))
        supply.connect()
        supply.identify()
        came = provoke(link, supply, ITS_OUTPUT, connected, voltage=3.0, current=0.1)
        link.close()
        assert all(each.wrong for each in came.seen)
        assert not network.on("left.1")


def test_what_was_seen_is_proved_of_a_real_supply_only(monkeypatch: pytest.MonkeyPatch) -> None:
    dialect, at = load_dialect("channel-list"), dt.datetime(2026, 11, 2, 10, tzinfo=dt.UTC)
    came = tried(changed("channel-list", "OVP: 12,", "OVP: 13,"), "channel-list", "open")
    seen = [*came.seen.values()]
    assert proofs_of(seen, came.supply, ITS_OUTPUT, by="A. Keeper", how="a test", at=at) == []
    monkeypatch.setattr("railwright.instruments.supply.TWIN_MAKER", "Nobody")
    found = proofs_of(seen, came.supply, ITS_OUTPUT, by="A. Keeper", how="a test", at=at)
    assert [each.provoked for each in found] == ["on", "CV", *SLEWS, "off"]
    assert {(each.channel, each.by, each.at) for each in found} == {
        (1, "A. Keeper", "2026-11-02T10:00:00+00:00")
    }
    assert found[0].digest == came.supply.dialect.digest != dialect.digest


@pytest.mark.parametrize("comes_back", [True, False])
def test_a_supply_that_is_lost_meanwhile_is_said_not_to_be_confirmed_off(comes_back: bool) -> None:
    """What ends it early is raised where everything is off in the end; else that it is not."""
    dialect = load_dialect("channel-list")
    with network_of("channel-list", "open") as (loop, network, address):
        link = LocalLink(loop, network.connect)
        supply = SupplyDriver("left", bare_supply(dialect, address, 1, 3.0, 0.1), open_guarded(link))
        supply.connect()
        supply.identify()

        def lose(seen: Provocation) -> None:
            server = network.servers["left"]
            loop.call_soon(server.refuse, True)
            loop.call_soon(server.drop, "reset")
            if comes_back:
                loop.call_later(2.0, server.refuse, False)

        expected = InstrumentError if comes_back else OffNotConfirmed
        with pytest.raises(expected) as told:
            provoke(link, supply, ITS_OUTPUT, "open", voltage=3.0, current=0.1, tell=lose)
        link.close()
        if comes_back:
            assert not network.on("left.1")
        else:
            assert says(str(told.value), "OFF NOT CONFIRMED", "left.1", "mains switch")

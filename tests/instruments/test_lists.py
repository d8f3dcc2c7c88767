"""The driver and an output's own point list: everything asked back, started together, ended."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import pytest
from tests.instruments.fake_supply import FakeSupply

from railwright.documents.bench import Supply as Document
from railwright.instruments import lists
from railwright.instruments.errors import InstrumentError
from railwright.instruments.lists import OwnList
from railwright.instruments.session import VisaSession
from railwright.instruments.supply import SupplyDriver

OWN = OwnList("1", (5.0, 7.5), (0.02, 1.5), 3, "line")


@pytest.fixture(params=[False, True], ids=["channel-list", "selected-output"])
def fake(request: pytest.FixtureRequest) -> Iterator[FakeSupply]:
    with FakeSupply(channels=2, selected=request.param) as made:
        yield made


def supply(fake: FakeSupply) -> SupplyDriver:
    output = {"voltage": "0 V .. 36 V", "current": "0 A .. 2 A"}
    dialect = "selected-output" if fake.selected is not None else "channel-list"
    document = {"address": fake.address, "dialect": dialect, "outputs": {"1": output, "2": output}}
    made = SupplyDriver("left", Document.model_validate(document), partial(VisaSession, timeout=0.3))
    made.connect()
    return made


def test_a_list_is_loaded_and_all_of_it_asked_back(fake: FakeSupply) -> None:
    made = supply(fake)
    lists.load(made, OWN)
    assert fake.outputs[1].settings == {
        "LIST:VOLT": "5,7.5",
        "LIST:DWELL": "0.02,1.5",
        "LIST:COUNT": "3",
        "LIST:INT": "LIN",
    }
    assert not fake.outputs[2].settings
    asked = [unit for unit in fake.units if "?" in unit]
    assert all(
        any(part in unit for unit in asked) for part in ("LIST:VOLT", "LIST:DWEL", "LIST:COUN", "LIST:INT")
    )
    made.close()


@pytest.mark.parametrize(
    ("header", "answer", "told"),
    [
        ("LIST:VOLT?", "5,7.6", "voltage 7.5 of point 2 was set in its list and reads back as 7.6"),
        ("LIST:VOLT?", "5", "2 values was set in its list and reads back as 1"),
        ("LIST:DWELL?", "0.025,1.5", "dwell 0.02 of point 1 was set in its list and reads back as 0.025"),
        ("LIST:DWELL?", "0.02,9.91E37", "dwell 1.5 of point 2"),
        ("LIST:COUNT?", "1", "count 3 of point 1"),
        ("LIST:INT?", "STEP", "was set to line and reads back as STEP"),
        ("LIST:VOLT?", "no numbers", "no numbers"),
    ],
)
def test_what_reads_back_otherwise_is_an_error(fake: FakeSupply, header: str, answer: str, told: str) -> None:
    made = supply(fake)
    fake.answers[header] = answer
    with pytest.raises(InstrumentError, match=told):
        lists.load(made, OWN)
    made.close()


def test_an_error_of_the_instrument_is_told_with_the_command(fake: FakeSupply) -> None:
    made = supply(fake)
    fake.on_unit = lambda unit: fake.errors.append('-222,"Data out of range"') if "DWELl 0" in unit else None
    with pytest.raises(InstrumentError, match="-222"):
        lists.load(made, OWN)
    made.close()


def test_lists_are_armed_started_together_and_ended(fake: FakeSupply) -> None:
    made = supply(fake)
    for output in ("1", "2"):
        lists.arm(made, output)
    assert [output.settings["VOLT:MODE"] for output in fake.outputs.values()] == ["LIST", "LIST"]
    assert not fake.started
    before = len(fake.units)
    answer = lists.start(made, ["1", "2"])
    assert fake.started == {1, 2}
    assert answer.received >= answer.sent
    # One message: nothing else can come between the two.
    assert len([unit for unit in fake.units[before:] if unit.startswith("SYST")]) == 1
    lists.stop(made)
    assert not fake.started
    lists.release(made, "1")
    assert fake.outputs[1].settings["VOLT:MODE"] == "FIX"
    made.close()


def test_a_mode_that_does_not_read_back_is_an_error(fake: FakeSupply) -> None:
    made = supply(fake)
    fake.answers["VOLT:MODE?"] = "FIX"
    with pytest.raises(InstrumentError, match=r"voltage_mode .* list .* fixed"):
        lists.arm(made, "1")
    made.close()


def test_a_dialect_without_lists_says_so(fake: FakeSupply) -> None:
    made = supply(fake)
    made.dialect = made.dialect.model_copy(update={"points": None})
    with pytest.raises(InstrumentError, match="point list"):
        lists.load(made, OWN)
    made.close()

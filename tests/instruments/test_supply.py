"""The driver against a fake supply: identification, verified settings, readings, and every lie."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

import pytest
from tests.instruments.fake_supply import FakeSupply

from railwright.dialects.operation import Operation
from railwright.documents.bench import Supply as SupplyDocument
from railwright.instruments.conversation import split_answers
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import Answer, VisaSession
from railwright.instruments.supply import OutputSetting, SupplyDriver
from railwright.traces import Mode

OUTPUT = {
    "voltage": "0 V .. 36 V",
    "current": "0 A .. 2.5 A",
    "programming": {
        "voltage": {"of_value": "0.05 %", "offset": "8 mV", "resolution": "1 mV"},
        "current": {"of_value": "0.1 %", "offset": "4 mA", "resolution": "0.1 mA"},
    },
}


def connect(fake: FakeSupply, dialect: str, **more: object) -> SupplyDriver:
    document = SupplyDocument.model_validate(
        {"address": fake.address, "dialect": dialect, "outputs": {"1": OUTPUT, "2": OUTPUT}, **more}
    )
    supply = SupplyDriver("left", document, partial(VisaSession, timeout=0.3))
    supply.connect()
    return supply


@pytest.fixture(params=["channel-list", "selected-output"])
def pair(request: pytest.FixtureRequest) -> Iterator[tuple[FakeSupply, SupplyDriver]]:
    with FakeSupply(channels=2, selected=request.param == "selected-output") as fake:
        supply = connect(fake, request.param)
        yield fake, supply
        supply.close()


def test_identifies_and_sets_and_reads(pair: tuple[FakeSupply, SupplyDriver]) -> None:
    fake, supply = pair
    assert supply.identify().model == "M-1"
    supply.put(
        [
            OutputSetting("2", "voltage", 5.0),
            OutputSetting("2", "trip_at_limit", True),
            OutputSetting("2", "sense", "at load"),
        ]
    )
    supply.put_together([OutputSetting("2", "output", True), OutputSetting("2", "voltage", 12.0)])
    readings = supply.read(["1", "2"])
    assert (readings["1"].voltage, readings["1"].mode) == (0.0, Mode.OFF)
    assert readings["2"].voltage == 12.0
    assert readings["2"].current == pytest.approx(0.3)
    assert readings["2"].mode is Mode.CV
    assert fake.outputs[2].settings["VOLT:ALC:SOURCE"] == "EXT"
    assert supply.state("2")
    supply.switch_off(["1", "2"])
    assert not fake.outputs[2].on


@pytest.mark.parametrize("dialect", ["channel-list", "selected-output"])
def test_an_output_is_spoken_to_by_its_channel_and_not_by_its_place(dialect: str) -> None:
    outputs = {"3": {**OUTPUT, "channel": 2}, "B": {**OUTPUT, "channel": 3}, "1": OUTPUT}
    with FakeSupply(channels=3, selected=dialect == "selected-output") as fake:
        supply = connect(fake, dialect, outputs=outputs)
        for number, output in enumerate(("1", "3", "B"), start=1):
            assert supply.channel(output) == number
            supply.put_together(
                [OutputSetting(output, "output", True), OutputSetting(output, "voltage", 4.0 + number)]
            )
            assert [each.on for each in fake.outputs.values()] == [n <= number for n in (1, 2, 3)]
        readings = supply.read(["B", "1", "3"])
        assert {name: reading.voltage for name, reading in readings.items()} == {"1": 5.0, "3": 6.0, "B": 7.0}
        supply.close()


def test_a_trip_is_told_with_its_cause(pair: tuple[FakeSupply, SupplyDriver]) -> None:
    fake, supply = pair
    fake.trip(1, bit=12)
    reading = supply.read(["1"])["1"]
    assert (reading.mode, reading.trip) == (Mode.TRIPPED, "OVP")
    supply.clear_trips("1")
    assert supply.read(["1"])["1"].trip == ""


@pytest.mark.parametrize(
    ("identity", "told"),
    [
        ("Railwright,M-2,S-1,0", "expected the model 'M-1' of the bench document, got 'M-2'"),
        ("Railwright,M-1,S-2,0", "expected the serial number 'S-1' of the bench document, got 'S-2'"),
        ("hello", "an unknown instrument"),
        (",,,", "an unknown instrument"),
    ],
)
def test_refuses_another_instrument(identity: str, told: str) -> None:
    with FakeSupply(identity=identity) as fake:
        supply = connect(fake, "channel-list", model="M-1", serial="S-1")
        with pytest.raises(InstrumentError, match="left: ") as raised:
            supply.identify()
        assert told in str(raised.value)
        assert supply.identity is None


def test_a_setting_that_reads_back_otherwise(pair: tuple[FakeSupply, SupplyDriver]) -> None:
    fake, supply = pair
    fake.answers["CURR?"] = "0.2"
    with pytest.raises(InstrumentError, match=r"current_limit .* 2\.0 .* 0\.2"):
        supply.put([OutputSetting("1", "current_limit", 2.0)])
    with pytest.raises(InstrumentError, match=r"current_limit .* 2\.0 .* 0\.2"):
        supply.put_together([OutputSetting("1", "current_limit", 2.0)])


def test_one_grid_step_is_the_same_value_and_two_are_not(pair: tuple[FakeSupply, SupplyDriver]) -> None:
    fake, supply = pair
    fake.answers["VOLT?"] = "5.0009"
    supply.put([OutputSetting("1", "voltage", 5.0)])
    fake.answers["VOLT?"] = "5.0020"
    with pytest.raises(InstrumentError, match="reads back"):
        supply.put([OutputSetting("1", "voltage", 5.0)])


@pytest.mark.parametrize("answer", ["", "five", "9.91E37", "5,5"])
def test_an_answer_that_is_no_value(pair: tuple[FakeSupply, SupplyDriver], answer: str) -> None:
    fake, supply = pair
    fake.answers["VOLT?"] = answer
    with pytest.raises(InstrumentError, match="left: "):
        supply.put([OutputSetting("1", "voltage", 5.0)])


def test_an_error_in_the_queue_is_raised_with_the_command(pair: tuple[FakeSupply, SupplyDriver]) -> None:
    fake, supply = pair
    fake.on_unit = lambda unit: fake.errors.append('-222,"Data out of range;9"') if " 9" in unit else None
    for setting in (supply.put, supply.put_together):
        with pytest.raises(InstrumentError, match=r"-222.*Data out of range;9.*VOLTage 9"):
            setting([OutputSetting("1", "voltage", 9.0)])
        supply.errors()


@pytest.mark.parametrize("deep", [1, 2, 30])
def test_off_goes_out_before_more_of_an_error_queue_is_read(
    pair: tuple[FakeSupply, SupplyDriver], deep: int
) -> None:
    fake, supply = pair
    supply.put_together([OutputSetting("1", "output", True)])
    fake.on_unit = lambda unit: fake.errors.extend(['-222,"9"'] * deep) if " 9" in unit else None
    with pytest.raises(InstrumentError, match="-222"):
        supply.put([OutputSetting("1", "voltage", 9.0)])
    assert len(fake.errors) == deep - 1
    at_off: list[int] = []
    fake.on_unit = lambda unit: at_off.append(len(fake.errors)) if "OUTP" in unit.upper() else None
    supply.put([OutputSetting("1", "voltage", 1.0)])
    supply.switch_off(["1"])
    assert at_off[0] == max(0, deep - 2)
    assert not fake.outputs[1].on
    supply.clear()
    # From here on every error is one of what is told next.
    fake.on_unit = lambda unit: fake.errors.append('-310,"x"') if " 7" in unit else None
    with pytest.raises(InstrumentError, match="-310"):
        supply.put([OutputSetting("1", "voltage", 7.0)])


@pytest.mark.parametrize("register", [True, False])
@pytest.mark.parametrize("deep", [2, 30])
def test_a_second_refusal_is_told_from_what_the_first_left_in_the_queue(
    pair: tuple[FakeSupply, SupplyDriver], register: bool, deep: int
) -> None:
    """Nothing that is asked back tells it: the supply takes no word of that setting's query, or of any."""
    fake, supply = pair
    instrument, settings = supply.dialect.instrument, dict(supply.dialect.settings)
    if not register:
        instrument = instrument.model_copy(update={"event_status": None})
    settings["ovp"] = settings["ovp"].model_copy(update={"query": None})
    supply.dialect = supply.dialect.model_copy(update={"settings": settings, "instrument": instrument})
    assert not supply.tells("ovp")
    refused = {" 9": ['-222,"9"'] * deep, "PROT": ['-221,"ovp"'], "CLE": ['-200,"clear"']}

    def refuse(unit: str) -> None:
        for part, entries in refused.items():
            if part in unit.upper() and "?" not in unit:
                fake.refuse(*entries)

    fake.on_unit = refuse
    for again in (
        lambda: supply.put([OutputSetting("1", "ovp", 5.0)]),
        lambda: supply.put_together([OutputSetting("1", "voltage", 1.0), OutputSetting("1", "ovp", 5.0)]),
        lambda: supply.clear_trips("1"),
    ):
        with pytest.raises(InstrumentError, match="-222"):
            supply.put([OutputSetting("1", "voltage", 9.0)])
        with pytest.raises(InstrumentError, match="an execution error" if register else "-221|-200"):
            again()
        # What is done is not taken for refused, whatever stands in the queue; OFF goes out before all of it.
        refused["CLE"], kept = [], refused["CLE"]
        if register:
            supply.put([OutputSetting("1", "voltage", 1.0)])
            assert fake.errors or deep == 2
        del fake.units[:]
        supply.switch_off(["1"])
        asks = [n for n, unit in enumerate(fake.units) if "ERR" in unit.upper() or "ESR" in unit.upper()]
        assert next(n for n, unit in enumerate(fake.units) if "OUTP" in unit.upper()) < min(asks)
        refused["CLE"] = kept
        supply.errors()


def test_an_unknown_header_is_told_as_the_instrument_words_it(pair: tuple[FakeSupply, SupplyDriver]) -> None:
    _, supply = pair
    wrong = supply.dialect.model_copy(
        update={"settings": {**supply.dialect.settings, "voltage": Operation(command="VOLR", query="VOLR?")}}
    )
    supply.dialect = wrong
    with pytest.raises(InstrumentError, match=r"-113.*VOLR"):
        supply.put([OutputSetting("1", "voltage", 5.0)])
    with pytest.raises(InstrumentError, match=r"-113.*VOLR"):
        supply.put_together([OutputSetting("1", "voltage", 5.0)])


def test_a_dialect_that_reads_nothing_says_why(pair: tuple[FakeSupply, SupplyDriver]) -> None:
    _, supply = pair
    readings = supply.dialect.readings.model_copy(update={"voltage": "MEAS:VOLR?"})
    supply.dialect = supply.dialect.model_copy(update={"readings": readings})
    with pytest.raises(InstrumentError, match=r"-113.*VOLR"):
        supply.read(["1"])


def test_silence_is_a_lost_instrument(pair: tuple[FakeSupply, SupplyDriver]) -> None:
    fake, supply = pair
    fake.silent = True
    with pytest.raises(InstrumentError, match=r"no answer from TCPIP.*: timeout") as raised:
        supply.read(["1"])
    assert raised.value.lost
    assert supply.lost


def test_a_closed_socket_is_a_lost_instrument_and_can_be_reconnected(
    pair: tuple[FakeSupply, SupplyDriver],
) -> None:
    fake, supply = pair
    supply.identify()
    fake.drop()
    with pytest.raises(InstrumentError):
        supply.read(["1"])
    assert supply.lost
    supply.connect()
    assert supply.read(["1"])["1"].voltage == 0.0


def test_nobody_there() -> None:
    with FakeSupply() as fake:
        fake.close()
        with pytest.raises(InstrumentError, match="left: ") as raised:
            connect(fake, "channel-list").identify()
        assert raised.value.lost


def test_a_queue_that_never_empties(pair: tuple[FakeSupply, SupplyDriver]) -> None:
    fake, supply = pair
    fake.answers["SYSTEM:ERROR?"] = '-350,"Queue overflow"'
    with pytest.raises(InstrumentError, match="never empties"):
        supply.errors()


def test_every_line_is_traced() -> None:
    lines: list[tuple[str, str]] = []
    with FakeSupply(channels=2) as fake:
        document = SupplyDocument.model_validate(
            {"address": fake.address, "dialect": "channel-list", "outputs": {"1": OUTPUT}}
        )
        supply = SupplyDriver(
            "left",
            document,
            partial(VisaSession, trace=lambda _t, name, way, line: lines.append((way, line))),
        )
        supply.connect()
        supply.identify()
        supply.close()
    assert lines == [("sent", "*IDN?"), ("received", fake.identity)]


def test_answers_are_parted_outside_quotes() -> None:
    assert split_answers('1,2;-222,"Data out of range;40 above ""36"""') == [
        "1,2",
        '-222,"Data out of range;40 above ""36"""',
    ]
    assert split_answers("a;;b") == ["a", "", "b"]


class Says:
    """A session that answers every question with the same words."""

    def __init__(self, text: str) -> None:
        self.name, self.identity, self.text = "left", "", text

    def tell(self, message: str, at: float | None = None) -> float:
        return 0.0

    def ask(self, message: str, at: float | None = None) -> Answer:
        return Answer(self.text, 0.0, 0.0)

    def together(self, messages: Sequence[str], at: float | None = None) -> Answer:
        return Answer(self.text, 0.0, 0.0)

    def close(self) -> None:
        return


def hearing(text: str) -> SupplyDriver:
    document = SupplyDocument.model_validate(
        {
            "address": "TCPIP::127.0.0.1::1::SOCKET",
            "dialect": "channel-list",
            "outputs": {"1": OUTPUT, "2": OUTPUT},
        }
    )
    supply = SupplyDriver("left", document, lambda *_: Says(text))
    supply.connect()
    return supply


@pytest.mark.parametrize("text", ["1;2", '5;1;0,"No error"', ";;"])
def test_two_answers_to_one_question(text: str) -> None:
    with pytest.raises(InstrumentError, match="one answer"):
        hearing(text).verify([OutputSetting("1", "voltage", 5.0)])
    with pytest.raises(InstrumentError, match="one answer"):
        hearing(text).state("1")


@pytest.mark.parametrize("text", ["\x1b[2J\x1b]0;x\x07", "\x9b31m", "\u202e21", "a\nb", "\udcff"])
def test_an_answer_that_would_steer_a_terminal_is_told_as_text(text: str) -> None:
    with pytest.raises(InstrumentError) as caught:
        hearing(text).identify()
    assert str(caught.value).isprintable()
    told = hearing(f"maker{text},model{text},{text},1").identify()
    assert "".join((told.maker, told.model, told.serial, told.version)).isprintable()


def test_an_answer_without_end_is_told_in_short() -> None:
    with pytest.raises(InstrumentError) as caught:
        hearing("x" * 1_000_000).identify()
    assert len(str(caught.value)) < 600
    assert "characters)" in str(caught.value)


def test_an_instrument_that_names_itself_in_two_ways_is_refused() -> None:
    supply = hearing("Railwright,M-1,S-1,0")
    assert supply._session is not None
    supply._session.identity = "Railwright,M-1,S-2,0"
    with pytest.raises(
        InstrumentError, match=r"answered 'Railwright,M-1,S-2,0', then 'Railwright,M-1,S-1,0'"
    ):
        supply.identify()

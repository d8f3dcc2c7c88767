"""A dialect tried on simulated supplies, in virtual time: what is understood; nothing is switched on."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from tests.bench import replaced

from railwright.dialects.dialect import Dialect, load_dialect
from railwright.dialects.files import dialect_names, dialect_text
from railwright.documents.dialect_files import read_dialect
from railwright.documents.loader import load_documents
from railwright.examples import example
from railwright.guard.local_link import LocalLink
from railwright.instruments.errors import InstrumentError
from railwright.instruments.guarded import open_guarded
from railwright.instruments.trying import DialectTrial, Tried
from railwright.twin.mischief.script import parse_mischief
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop


@contextmanager
def at_a_twin(
    dialect: Dialect,
    speaks: str | None = None,
    sent: list[str] | None = None,
    mischief: tuple[str, ...] = (),
) -> Iterator[tuple[DialectTrial, VirtualNetwork]]:
    """A trial of a dialect on a twin of one of the package's (default: that of the same name)."""
    documents, loop = load_documents(example() / "power-input.procedure.yaml"), VirtualLoop()
    left = documents.bench.supplies["left"].model_copy(
        update={"dialect": load_dialect(speaks or dialect.name)}
    )
    bench = documents.bench.model_copy(update={"supplies": {**documents.bench.supplies, "left": left}})
    script = parse_mischief(mischief, bench.supplies)
    with VirtualNetwork(loop, bench, documents.device, documents.procedure, mischief=script) as network:
        link = LocalLink(loop, network.connect)
        lines: list[str] = [] if sent is None else sent
        trace = lambda _time, _name, way, line: lines.append(line) if way == "sent" else None  # noqa: E731
        trial = DialectTrial(dialect, left.address, 1, open_guarded(link, trace), sleep=link.sleep)
        trial.connect()
        yield trial, network
        trial.close()
        link.close()


def named(tried: list[Tried]) -> dict[str, Tried]:
    return {each.operation: each for each in tried}


@pytest.mark.parametrize(
    "name", [name for name in dialect_names() if load_dialect(name).addressing != "none"]
)
def test_every_question_and_every_change_is_understood(name: str) -> None:
    with at_a_twin(load_dialect(name)) as (trial, network):
        asked = named([*trial.questions()])
        # The outputs of the station's bench have neither protection, which the supply says.
        lacks = {each.operation for each in asked.values() if each.wrong}
        assert lacks <= {"opp", "opp_on", "ocp", "ocp_on", "ocp_delay"}
        assert all("error" in each.wrong or "-241" in each.wrong for each in asked.values() if each.wrong)
        assert asked["output"].means == "off"
        assert asked["voltage"].means == "0.0"
        assert asked["what tripped"].means == "nothing"
        assert [each for each in trial.changes() if each.wrong] == []
        assert not network.energised("left.1")


@pytest.mark.parametrize(
    ("name", "old", "new", "operation"),
    [
        ("channel-list", "voltage: SOURce:VOLTage\n", "voltage: SOURce:VOLTagX\n", "voltage"),
        ("channel-list", "current: FETCh:CURRent?", "current: FETXh:CURRent?", "read current"),
        (
            "channel-list",
            "at load: EXTernal, at terminals: INTernal",
            "at load: FAR, at terminals: NEAR",
            "sense",
        ),
        ("named-output", "words: {CV: CV, CC: CC, CP: CP}", "bits: {CV: 8}", "what regulates"),
        ("channel-list", "link: OUTPut:PROTection:LINK", "link: OUTPut:PROTection:DELay", "linked trips"),
        ("prefixed", 'prefix: "INSTrument{channel}:"', 'prefix: "CHANnel{channel}:"', "output"),
    ],
)
def test_what_is_not_understood_is_told(name: str, old: str, new: str, operation: str) -> None:
    text = replaced(dialect_text(name), (old, new))
    with at_a_twin(read_dialect(text, "mine.yaml"), name) as (trial, network):
        wrong = named([each for each in trial.questions() if each.wrong])
        assert operation in wrong
        assert not network.energised("left.1")


def test_nothing_is_changed_where_an_output_is_on() -> None:
    with at_a_twin(load_dialect("channel-list")) as (trial, network):
        supply = network.servers["left"].supply
        supply.switch(0, True)
        with pytest.raises(InstrumentError, match="got '1'"):
            next(trial.changes())


@pytest.mark.parametrize(
    "name", [name for name in dialect_names() if load_dialect(name).addressing != "none"]
)
def test_settings_are_only_asked(name: str) -> None:
    """What `railwright probe` sends: a selection where outputs are selected, and queries; no measurement."""
    sent: list[str] = []
    dialect = load_dialect(name)
    with at_a_twin(dialect, sent=sent) as (trial, _):
        asked = len([*trial.settings()])
    assert asked == len([each for each in dialect.settings.values() if each.query is not None])
    units = [unit.removeprefix(":") for line in sent for unit in line.split(";")]
    assert units
    others = {unit for unit in units if not unit.partition(" ")[0].endswith("?")}
    begins = {each.text for each in dialect.session_settings.opening}
    assert others <= {*dialect.select(1), *begins}
    assert not any("MEAS" in unit or "FETC" in unit for unit in units)


@pytest.mark.parametrize(("away", "goes_on"), [(0.03, True), (0.3, True), (1.2, True), (30.0, False)])
def test_after_a_lost_connection_it_waits_for_the_next_one(away: float, goes_on: bool) -> None:
    """A question at which the supply resets every connection, and takes none for a while."""
    lost = f'left: refuses at "FETC" 1 for {away:g} s'
    with at_a_twin(load_dialect("channel-list"), mischief=(lost,)) as (trial, _):
        if not goes_on:
            with pytest.raises(InstrumentError, match=r"127\.0\.0\.1"):
                list(trial.questions())
            return
        asked = named([*trial.questions()])
        assert [name for name, each in asked.items() if "FETC" in each.sent and each.wrong] == [
            "read current"
        ]
        assert asked["what tripped"].means == "nothing"


def test_a_change_to_what_stood_before_shows_nothing_and_says_so() -> None:
    with at_a_twin(load_dialect("channel-list")) as (trial, network):
        first = named([*trial.changes()])
        assert not network.energised("left.1")
        assert {name for name, each in first.items() if each.stood_so} >= {"set output"}
        assert not first["set voltage"].stood_so
        trial.conversation.do(["SOURce:VOLTage 7.5,(@1)", "SOURce:CURRent 0.8,(@1)"])
        then = named([*trial.changes()])
        assert {name for name, each in then.items() if each.stood_so} & {
            "set voltage",
            "set current_limit",
        } == set()
        assert then["restore voltage"].means == "7.5"


@pytest.mark.parametrize("name", ["channel-list", "prefixed"])
@pytest.mark.parametrize(("form", "shown"), [("text", "-222, Data out of range"), ("number", "-222")])
def test_an_error_queue_is_understood_in_the_form_that_the_dialect_says(
    name: str, form: str, shown: str
) -> None:
    """A simulated supply of a user's own dialect answers in that form; one of the package's does not."""
    text = dialect_text(name).replace('"SYSTem:ERRor?"', f'"SYSTem:ERRor?"\n  error_form: {form}')
    own = read_dialect(text.replace(f"dialect: {name}", "dialect: my-own"), "mine.yaml")
    with at_a_twin(load_dialect(name), speaks=name) as (trial, network):
        network.servers["left"].supply.status.errors._form = own.instrument.error_form
        trial.conversation.dialect = trial.dialect = own
        asked = named([*trial.questions()])
        assert (asked["errors"].wrong, asked["errors"].means) == ("", "no error")
        with pytest.raises(InstrumentError, match=shown) as caught:
            trial.conversation.do([*own.select(1), own.set_unit("voltage", 1, 9999.0)])
        assert caught.value.what.startswith(f"reports {shown}")
    with at_a_twin(load_dialect(name)) as (trial, _):
        trial.conversation.dialect = trial.dialect = own
        assert named([*trial.questions()])["errors"].wrong


@pytest.mark.parametrize("name", ["channel-list", "selected-output"])
@pytest.mark.parametrize("setting", ["voltage", "ovp_on"])
def test_an_output_that_a_wrong_header_switches_on_goes_off_at_once(name: str, setting: str) -> None:
    """Such a file is refused before; here it is made past its checks, as a header that nobody knows would
    pass them.
    """
    dialect = load_dialect(name)
    wrong = {**dialect.settings, setting: dialect.settings["output"]}
    sent: list[str] = []
    with at_a_twin(dialect.model_copy(update={"settings": wrong}), name, sent) as (trial, network):
        with pytest.raises(InstrumentError, match="OFF was sent"):
            [*trial.changes()]
        ((began, ended),) = network.energised("left.1")
        assert ended - began < 2e-3
    switched = [line for line in sent if "OUTPut:STATe" in line and "OUTPut:STATe?" not in line]
    assert len(switched) >= 2
    assert "OUTPut:STATe OFF" in switched[-1]

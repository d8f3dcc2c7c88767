"""A dialect tried on simulated supplies, in virtual time: what is understood; nothing is switched on."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from tests.bench import replaced

from railwright.dialects.dialect import Dialect, load_dialect, read_dialect
from railwright.dialects.files import dialect_names, dialect_text
from railwright.documents.loader import load_documents
from railwright.examples import example
from railwright.guard.local_link import LocalLink
from railwright.instruments.errors import InstrumentError
from railwright.instruments.guarded import open_guarded
from railwright.instruments.trying import DialectTrial, Tried
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop


@contextmanager
def at_a_twin(
    dialect: Dialect, speaks: str | None = None, sent: list[str] | None = None
) -> Iterator[tuple[DialectTrial, VirtualNetwork]]:
    """A trial of a dialect on a twin of one of the package's (default: that of the same name)."""
    documents, loop = load_documents(example() / "power-input.procedure.yaml"), VirtualLoop()
    left = documents.bench.supplies["left"].model_copy(
        update={"dialect": load_dialect(speaks or dialect.name)}
    )
    bench = documents.bench.model_copy(update={"supplies": {**documents.bench.supplies, "left": left}})
    with VirtualNetwork(loop, bench, documents.device, documents.procedure) as network:
        link = LocalLink(loop, network.connect)
        lines: list[str] = [] if sent is None else sent
        trace = lambda _time, _name, way, line: lines.append(line) if way == "sent" else None  # noqa: E731
        trial = DialectTrial(dialect, left.address, 1, open_guarded(link, trace))
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

"""Every dialect and its twin, each written by hand: the twin knows every header that the driver sends."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from tests.twin.bench import BENCH

from railwright.dialects.dialect import Dialect, load_dialect
from railwright.dialects.files import dialect_names
from railwright.scpi.errors import ScpiError
from railwright.scpi.grammar import parse_message
from railwright.twin.commands.spellings import tree_of
from railwright.twin.families import FAMILIES, Family
from railwright.twin.mischief.script import MischiefError, commands_of, parse_mischief


def headers(dialect: Dialect) -> Iterator[str]:
    """All that is ever sent of output 1: each header as a command, and as a query where it has one."""

    def of_output(header: str) -> str:
        return dialect.spoken.unit(header, (1,), "1").partition(" ")[0]

    for operation in dialect.settings.values():
        yield from (of_output(each) for each in (operation.command, operation.query) if each is not None)
    own = (header for name, header in dialect.instrument if name != "error_form")
    yield from (header for header in own if header is not None)
    yield from (each.text.partition(" ")[0] for each in dialect.session_settings.opening)
    yield from (each.text.partition(" ")[0] for each in dialect.session_settings.closing)
    yield from (header for _, header in dialect.watchdog or ())
    if dialect.master is not None:
        yield from (dialect.master_unit(True).partition(" ")[0], *dialect.master_queries)
    for _, action in dialect.actions:
        yield from (of_output(header) for header in ((action,) if isinstance(action, str) else action or ()))
    yield from (of_output(header) for header in dialect.readings.queries)
    if dialect.points is not None:
        points = dict(dialect.points)
        file = points.pop("file")
        points.pop("written")
        given = [header for header in points.values() if header is not None]
        if file is not None:
            given.append(file.load)
            yield file.data
        yield from (of_output(header) for header in given if header != dialect.points.stop)
        yield dialect.points.stop
    if dialect.link is not None:
        yield from (of_output(dialect.link), of_output(dialect.link + "?"))
    yield from (unit.partition(" ")[0] for unit in dialect.status_units(1))


@pytest.mark.parametrize("name", dialect_names())
def test_the_twin_of_a_dialect_knows_all_its_headers(name: str) -> None:
    dialect = load_dialect(name)
    sent = list(headers(dialect))
    assert any(header.upper().endswith("VOLTAGE?") for header in sent)
    for header in sent:
        (unit,) = parse_message(header.encode())
        tree_of(name, dialect.addressing).find(unit.nodes, unit.query)


def test_what_is_spelled_is_a_dialect() -> None:
    assert set(FAMILIES) <= set(dialect_names())


@pytest.fixture
def own(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A family that calls the OVP a limit, and starts its list with a command of another form."""
    limit = {"[SOURce]:VOLTage:PROTection[:LEVel]": "VOLTage:LIMit", "INITiate[:IMMediate]": "LIST:STARt"}
    monkeypatch.setitem(FAMILIES, "limits", Family(limit))
    tree_of.cache_clear()
    yield
    tree_of.cache_clear()


@pytest.mark.usefixtures("own")
def test_a_family_with_headers_of_its_own_knows_no_others() -> None:
    tree, usual = tree_of("limits"), tree_of("channel-list")
    for own_header, header in (("VOLT:LIM", "VOLT:PROT"), ("LIST:STAR", "INIT")):
        assert tree.find(tuple(own_header.split(":")), False) == usual.find(tuple(header.split(":")), False)
        with pytest.raises(ScpiError):
            tree.find(tuple(header.split(":")), False)
    assert tree.find(("VOLT", "LIM"), True) == usual.find(("VOLT", "PROT"), True)
    assert tree.find(("VOLT",), True) == usual.find(("VOLT",), True)


@pytest.mark.usefixtures("own")
def test_a_twin_and_its_faults_go_by_the_spelling_of_its_dialect() -> None:
    dialect = load_dialect("channel-list").model_copy(update={"name": "limits"})
    left = BENCH.supplies["left"].model_copy(update={"dialect": dialect})
    (fault,) = parse_mischief(["left: silent at VOLT:LIM? 3"], {"left": left})
    assert commands_of(fault.when.header, dialect) == commands_of("VOLT:PROT?")
    with pytest.raises(MischiefError, match=r"VOLT:PROT\?"):
        parse_mischief(["left: silent at VOLT:PROT? 3"], {"left": left})


def test_a_header_that_no_command_has_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(FAMILIES, "misspelled", Family({"VOLTage:NOWHere": "VOLTage:HERE"}))
    with pytest.raises(ValueError, match=r"misspelled.*VOLTage:NOWHere"):
        tree_of("misspelled")

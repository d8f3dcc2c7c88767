"""The longest message of a supply: several commands go into several messages, a list into one that fits."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.bench import replaced
from tests.instruments.test_list_forms import OWN, driven
from tests.running.stage import points as points_feed

from railwright.dialects.dialect import DialectError, load_dialect
from railwright.dialects.files import dialect_text
from railwright.dialects.units import Spoken, compose
from railwright.documents.dialect_files import read_dialect
from railwright.documents.output_name import OutputName
from railwright.instruments import lists
from railwright.instruments.errors import InstrumentError
from railwright.plan.delivery import most_points, points_of
from railwright.quantities import Interval

GRID = {"at_most": 100, "dwell": Interval(1e-3, 99.0), "dwell_resolution": 1e-3}
LONG = lists.OwnList("1", OWN.voltages * 4, OWN.dwells * 4, 1, "step")
SELECTING = Spoken("selected-output", True, "INST:NSEL", longest=40)


def test_parts_begin_with_the_selection() -> None:
    units = ["INST:NSEL 1", "VOLT 5", "VOLT?", "CURR 1.25", "CURR?", "INST:NSEL 2", "VOLT 7", "SYST:ERR?"]
    assert SELECTING.messages(units) == (
        "INST:NSEL 1;:VOLT 5;:VOLT?;:CURR 1.25",
        "INST:NSEL 1;:CURR?;:INST:NSEL 2;:VOLT 7",
        "INST:NSEL 2;:SYST:ERR?",
    )


@given(
    st.lists(st.sampled_from(["INST:NSEL 1", "INST:NSEL 2", "VOLT 5", "VOLT?", "*OPC?", "LIST:VOLT 1,2,3"])),
    st.integers(15, 80),
)
def test_every_unit_reaches_its_output_in_order(units: list[str], longest: int) -> None:
    units = ["INST:NSEL 1", *units]
    sent = SELECTING._replace(longest=longest).messages(units)
    assert all(len(message) <= longest for message in sent)
    parts = [part.removeprefix(":") for message in sent for part in message.split(";")]

    def reached(them: list[str]) -> list[tuple[str, str]]:
        selected, found = "", []
        for unit in them:
            if unit.startswith("INST"):
                selected = unit
            else:
                found.append((selected, unit))
        return found

    assert reached(parts) == reached(units)
    if len(compose(units)) <= longest:
        assert sent == (compose(units),)


def short(name: str, longest: int) -> str:
    text = dialect_text(name)
    if "session: {" in text:
        return text.replace("session: {", f"session: {{longest: {longest}, ")
    return re.sub(r"(?m)^compound: .*$", rf"\g<0>\nsession: {{longest: {longest}}}", text)


@pytest.mark.parametrize("name", ["channel-list", "selected-output", "named-output", "numbered-header"])
def test_a_list_that_is_longer_is_refused_before_it_is_sent(name: str) -> None:
    fits = read_dialect(short(name, 70), "own")
    with driven(name, fits) as (supply, _, _link):
        lists.load(supply, OWN)
    dialect = read_dialect(short(name, 50), "own")
    with driven(name, dialect) as (supply, network, _link):
        with pytest.raises(InstrumentError) as caught:
            lists.load(supply, LONG)
        assert not caught.value.lost
        assert "50 at most" in caught.value.told
        assert len(network.servers["left"].supply.status.errors) == 0


@pytest.mark.parametrize("name", ["channel-list", "selected-output", "named-output", "numbered-header"])
@pytest.mark.parametrize("longest", [90, 120, 250])
def test_as_many_points_as_fit_are_sent(name: str, longest: int) -> None:
    """Numbers of six characters with their comma, such as `12.34,`; one point more would not surely fit."""
    dialect = read_dialect(short(name, longest), "own")
    most = dialect.most_points(1, 6)
    assert most is not None
    assert 0 < most < longest / 6
    with driven(name, dialect) as (supply, _, link):
        sent: list[str] = []
        exchange = link.exchange

        def kept(
            name: str, text: str, deadline: float, *, more: tuple[str, ...] = (), **rest: object
        ) -> object:
            sent.extend([text, *more])
            return exchange(name, text, deadline, more=more, **rest)  # type: ignore[arg-type]

        link.exchange = kept  # type: ignore[method-assign, assignment]
        lists.load(supply, lists.OwnList("1", (12.34,) * most, (0.123,) * most, 1, "step"))
    assert longest - 30 < max(len(each) + 1 for each in sent) <= longest


@pytest.mark.parametrize(("longest", "most"), [(None, 100), (200, 24), (60, 4), (33, 1), (32, 0)])
def test_a_plan_counts_on_as_many_points_as_fit(longest: int | None, most: int) -> None:
    """`SOURce:LIST:VOLTage ,(@1)` are 25 characters, a newline is one, `12.345,` are seven."""
    with driven("channel-list") as (supply, network, _link):
        own = (
            load_dialect("channel-list")
            if longest is None
            else read_dialect(short("channel-list", longest), "x")
        )
        points = supply.document.outputs["1"].points
        assert points is not None
        output = supply.document.outputs["1"].model_copy(update={"points": points.model_copy(update=GRID)})
        left = supply.document.model_copy(update={"dialect": own, "outputs": {"1": output}})
        bench = network.bench.model_copy(update={"supplies": {"left": left}})
        assert most_points(bench, OutputName("left.1"), alone=True) == most
        feed = points_feed("main", "left.1", 1.0, 18.0)
        found = points_of(feed, bench)
        assert (0 if found is None else found.at_most) == most


@pytest.mark.parametrize("written", ["15", "0", "40.5", "many"])
def test_a_length_is_a_whole_number(written: str) -> None:
    text = replaced(short("channel-list", 40), ("longest: 40", f"longest: {written}"))
    with pytest.raises(DialectError, match=r"own:\d+:\d+: expected a whole number"):
        read_dialect(text, "own")


def test_none_is_none() -> None:
    assert load_dialect("channel-list").most_points(1, 6) is None

"""No operation has the header of another: each two of every dialect exchanged, or made one."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator
from itertools import combinations
from typing import Any

import pytest
from pydantic import ValidationError
from ruamel.yaml import YAML

from railwright.dialects.dialect import Dialect, DialectError
from railwright.dialects.files import dialect_names, dialect_text
from railwright.documents.dialect_files import read_dialect

SWITCHES_ON = re.compile(
    r"(.*:)?OUTP(ut)?\d*(:STAT(e)?)?[ ](ON|[0-9.,]*[1-9]).*|(.*:)?REL(ease)?[ ](ON|[1-9]).*", re.IGNORECASE
)
"""What would switch an output of these supplies on, whatever the dialect calls it."""


def headers(node: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], str]]:
    """Every header of a dialect's file, with its place."""
    for key, value in node.items() if isinstance(node, dict) else enumerate(node):
        if isinstance(value, dict) and key != "words":
            yield from headers(value, (*path, key))
        elif (
            isinstance(value, str)
            and (path or key == "link")
            and key not in ("written", "goes_off", "name", "nothing")
            and value not in ("cannot", "by hand")
            and re.fullmatch(r"\*?[A-Za-z]{3}[A-Za-z:]*(\{channel\}[A-Za-z:]*)*\??", value)
        ):
            yield (*path, key), value


TOLD_TOGETHER = (("status", "mode", "query"), ("status", "trips", "query"))
"""One register may tell of both, by bits of its own; `*CLS` may clear an output's trips."""


def put(tree: Any, path: tuple[Any, ...], value: str) -> None:
    for key in path[:-1]:
        tree = tree[key]
    tree[path[-1]] = value


def sent_by_a_trial(dialect: Dialect) -> list[str]:
    """What `dialect try --change` tells an output; see `DialectTrial.changes`."""
    values: dict[Any, list[Any]] = {"voltage": [0.0, 1.0, 12.0], "current_limit": [0.0, 0.2, 1.0]}
    values |= {name: [False, True] for name in ("ovp_on", "trip_at_limit")}
    values |= {"sense": ["at load", "at terminals"], "output": [False]}
    units = [
        dialect.set_unit(name, 1, value)
        for name, each in values.items()
        if dialect.can_set(name)
        for value in each
    ]
    return [*dialect.select(1), *units]


@pytest.mark.parametrize("name", dialect_names())
def test_no_two_operations_exchanged_or_made_one_switch_an_output_on(name: str) -> None:
    given = YAML(typ="safe", pure=True).load(dialect_text(name))
    own = [each for each in headers(given) if not each[1].endswith("?")]
    asked = [each for each in headers(given) if each[1].endswith("?")]
    taken = []
    for (one, header), (other, its) in [*combinations(own, 2), *combinations(asked, 2)]:
        made_one, exchanged = copy.deepcopy(given), copy.deepcopy(given)
        put(made_one, other, header)
        if {one, other} != {*TOLD_TOGETHER} and header != "*CLS":
            with pytest.raises(ValidationError):
                Dialect.model_validate(made_one)
        put(exchanged, one, its)
        put(exchanged, other, header)
        try:
            taken.append(Dialect.model_validate(exchanged))
        except ValidationError:
            continue
    assert taken
    assert [unit for made in taken for unit in sent_by_a_trial(made) if SWITCHES_ON.fullmatch(unit)] == []


@pytest.mark.parametrize(
    ("key", "written"),
    [
        *(("voltage", each) for each in ("OUTPut", "outp:stat", ":OUTPut1:STATe", "'OUTP {value}'", "OP1")),
        *(
            ("voltage", each)
            for each in ("'OUT={value}'", "SYSTem:OUTPut", "'*RST'", "SYSTem:PRESet", "INIT")
        ),
        *(
            ("voltage", each)
            for each in ("CURR", "'CURR {value}'", "sour1:current:level", "SOUR:CURR:LEV:IMM")
        ),
        ("sense", "'OUTP {channel},{value}'"),
        ("current_limit", "SOURce:VOLTage:LEVel"),
        ("current_limit", "{command: SOURce:CURRent, query: 'VOLT?'}"),
        ("ovp_on", "OUTPut:PROTection:CLEar"),
        ("start", "OUTPut:STATe"),
        ("count", "OUTP"),
        ("state", "OUTPut:ENABle"),
        ("link", "OUTPut:STATe"),
    ],
)
def test_a_header_of_another_operation_is_refused_however_it_is_spelt(key: str, written: str) -> None:
    text = dialect_text("channel-list")
    old = next(re.finditer(rf"^ *{key}: (.+?)(?= +#|$)", text, re.MULTILINE))
    with pytest.raises(DialectError) as raised:
        read_dialect(text[: old.start(1)] + written + text[old.end(1) :], "mine.yaml")
    (fault,) = raised.value.faults
    assert fault.what.startswith("expected ")


def test_one_answer_may_tell_of_several() -> None:
    """Fields, bits and words tell them apart; the same field for two does not."""
    text = dialect_text("single-output")
    for place, fine in ((2, True), (1, False)):
        given = YAML(typ="safe", pure=True).load(text)
        given["settings"]["voltage"] = {"command": "VOLT", "query": "ALL?", "field": 1}
        given["settings"]["current_limit"] = {"command": "CURR", "query": "ALL?", "field": place}
        if fine:
            assert Dialect.model_validate(given).settings["current_limit"].field == place
        else:
            with pytest.raises(ValidationError, match="another query for 'current_limit'"):
                Dialect.model_validate(given)

"""`railwright explain`: every id that a finding can carry is explained, and a wrong one is a line."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from click.testing import Result
from tests.said import says

from railwright.settings.overrides import known_rules

Cli = Callable[..., Result]


def test_it_says_what_a_rule_looks_for_and_what_follows(cli: Cli) -> None:
    result = cli("explain", "voltage-range")
    assert result.exit_code == 0
    first, follows, looks = result.stdout.splitlines()
    assert says(first, "voltage-range", "outside the output's range")
    assert says(follows, "stop", "run", "overrides")
    assert "documents" in looks


def test_a_stop_that_cannot_be_accepted_says_so(cli: Cli) -> None:
    assert says(cli("explain", "auto-impossible").stdout, "stop", "cannot be accepted")


def test_quiet_leaves_the_meaning(cli: Cli) -> None:
    result = cli("explain", "-q", "touch-voltage")
    assert [line.split(":")[0] for line in result.stdout.splitlines()] == ["touch-voltage"]


def test_json_has_every_id_with_its_severity_and_a_meaning(cli: Cli) -> None:
    rows = json.loads(cli("explain", "--json").stdout)["rules"]
    assert {row["rule"]: row["severity"] for row in rows} == {k: v.value for k, v in known_rules().items()}
    assert all(row["meaning"] for row in rows)
    of = {row["rule"]: (row["looks_at"], row["acceptable"]) for row in rows}
    assert of["voltage-range"] == ("documents", True)
    assert of["trips-rehearsed"] == ("rehearsal", True)
    assert of["hook-up-impossible"] == ("settling", False)
    assert of["touch-voltage"] == ("documents", False)


def test_without_a_rule_it_lists_them_in_the_order_of_asking(cli: Cli) -> None:
    text = cli("explain").stdout
    last_words = {line.split()[-1] for line in text.splitlines() if line}
    named = [name for name in known_rules() if name in last_words]
    assert len(named) == len(known_rules())
    assert text.index("return-short") < text.index("trips-rehearsed") < text.index("empty-window")


@pytest.mark.parametrize(
    ("given", "end"),
    [
        ("touch-votlage", "; did you mean 'touch-voltage'?"),
        ("zzz", "; railwright explain lists them"),
    ],
)
def test_an_id_that_is_none_is_a_line(cli: Cli, given: str, end: str) -> None:
    result = cli("explain", given)
    assert result.exit_code == 2
    assert result.stderr == f"RULE: expected the id of a rule, got '{given}'{end}\n"
    assert result.stdout == ""

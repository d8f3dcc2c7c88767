"""`railwright rehearse --cases`: spreads, probabilities, the same bytes for a seed, one case alone."""

import json

import pytest
from tests.bench import PROCEDURE
from tests.said import says


def test_spreads_and_the_probability_of_a_trip_are_shown(documents, cli):
    result = cli("rehearse", PROCEDURE, "--cases", "40", "--seed", "7")
    assert result.exit_code == 0, result.stdout
    assert "40 cases of" in result.stdout
    assert "seed 7" in result.stdout
    assert "Inrush charge" in result.stdout
    assert says(result.stdout, "0 %", "none", "0 %", "10 %", "95 %")


def test_the_same_seed_gives_the_same_bytes(documents, cli):
    one, two, other = (
        cli("rehearse", PROCEDURE, "--cases", "24", "--seed", seed, "--json").stdout for seed in "778"
    )
    assert one == two
    assert json.loads(one)["inputs"] != json.loads(other)["inputs"]


def test_a_worst_case_can_be_played_alone(documents, cli):
    spread = json.loads(cli("rehearse", PROCEDURE, "--cases", "24", "--json").stdout)
    peak = spread["inputs"]["main"]["measures"]["inrush_peak"]
    number = str(peak["highest_case"])
    alone = json.loads(cli("rehearse", PROCEDURE, "--cases", "24", "--number", number, "--json").stdout)
    assert alone["case"] == peak["highest_case"]
    assert alone["inputs"]["main"]["inrush_peak"] == pytest.approx(peak["highest"], rel=1e-9)


def test_a_delay_that_is_too_short_trips_in_some_cases(edit, cli):
    edit(PROCEDURE, "trip_delay: 40 ms", "trip_delay: 15 ms")
    result = cli("rehearse", PROCEDURE, "--cases", "64", "--json")
    assert result.exit_code == 3
    data = json.loads(result.stdout)["inputs"]["main"]
    probability = data["trip_probability"]
    assert 0.0 < probability["low"] < probability["estimate"] < probability["high"] < 1.0
    assert set(data["trips"]) == {"current limit"}


@pytest.mark.parametrize(
    ("options", "line"),
    [
        (("--cases", "4", "--case", "low"), "--cases: expected no --case"),
        (("--sensitivity",), "expected --cases beside them"),
        (("--cases", "4", "--number", "4"), "--number: expected a case from 0 to 3, got 4"),
        (("--cases", "4", "--scheduler", "tcp://127.0.0.1:9"), "--scheduler: no Dask scheduler answers"),
    ],
)
def test_wrong_options_are_one_line(documents, cli, options, line):
    result = cli("rehearse", PROCEDURE, *options)
    assert result.exit_code == 2
    assert line in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1

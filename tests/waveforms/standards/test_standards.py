"""Every standard's test plays, and its choices are judged."""

import pytest

from railwright.documents.standard_figures import package_figures
from railwright.waveforms.shapes import Jump, Off, duration_of, moves
from railwright.waveforms.standards import TESTS, Choice, NoSuchChoice

CHOICES = {
    "IEC 61000-4-29 dip": {"level": "70 %", "duration": 0.1},
    "IEC 61000-4-29 interruption": {"duration": 0.01, "impedance": "low"},
    "IEC 61000-4-29 variation": {"level": "120 %", "duration": 1.0},
    "ISO 16750-2 starting": {"level": "II"},
    "EN 50155 variation": {"level": "70 %", "duration": 10.0},
    "EN 50155 interruption": {"level": "S2"},
    "EN 50155 change-over": {"level": "C2"},
    "MIL-STD-704F normal transient": {"level": "over"},
    "RTCA DO-160G abnormal surge": {"level": "Z"},
    "RTCA DO-160G interruption": {"level": "A"},
}


def pieces(name, nominal=12.0, lowest=9.0, **choice):
    test = TESTS[name]
    return test.pieces(package_figures()[test.standard], Choice(nominal, lowest, **choice))


@pytest.mark.parametrize("name", [name for name in TESTS if TESTS[name].not_played is None])
def test_it_plays_and_comes_back(name):
    found = pieces(name, **CHOICES.get(name, {}))
    assert duration_of(found) > 0.0
    played = list(moves(found, 12.0))
    assert played[-2].value in (12.0, 9.0)  # nominal, or the lowest operating voltage where that is the base
    test = TESTS[name]
    assert test.name.startswith(test.standard)
    assert {test.levels, test.durations} <= {None, *test.cites}
    assert set(CHOICES.get(name, {})) <= set(test.uses)
    cited = package_figures()[test.standard].cited(*test.cites)
    assert cited.endswith(", from memory")


@pytest.mark.parametrize(
    ("name", "nominal", "choice", "voltage", "duration"),
    [
        ("ISO 16750-2 load dump", 12.0, {"level": "A"}, 101.0, 0.4),
        ("ISO 16750-2 load dump", 24.0, {"level": "B"}, 58.0, 0.35),
        ("ISO 16750-2 reversed voltage", 24.0, {}, -28.0, 60.0),
    ],
)
def test_what_is_not_played_has_its_voltage_and_duration(name, nominal, choice, voltage, duration):
    """ISO 16750-2:2012, 4.6.4 and 4.7 (from memory)."""
    assert pieces(name, nominal, **choice) == ()
    test = TESTS[name]
    assert test.not_played is not None
    asked = test.not_played(package_figures()[test.standard], Choice(nominal, 9.0, **choice))
    assert (asked.voltage, asked.duration) == (voltage, duration)


def test_a_level_of_what_is_not_played_is_judged():
    test = TESTS["ISO 16750-2 load dump"]
    assert test.not_played is not None
    with pytest.raises(NoSuchChoice, match="expected one of A, B"):
        test.not_played(package_figures()[test.standard], Choice(12.0, 9.0, "C"))


def test_every_figure_has_its_clause_edition_and_flag():
    assert set(package_figures()) == {test.standard for test in TESTS.values()}
    for figures in package_figures().values():
        assert figures.edition
        assert figures.title
        for name, figure in figures.figures.items():
            assert figure.clause, name
            assert figure.from_memory, name


@pytest.mark.parametrize(
    ("name", "choice", "said"),
    [
        (
            "IEC 61000-4-29 dip",
            {"duration": 0.1},
            "expected a 'level' beside 'standard', got none; add one of",
        ),
        (
            "IEC 61000-4-29 dip",
            {"level": "70 %"},
            "expected a 'duration' beside 'standard', got none; add one",
        ),
        ("IEC 61000-4-29 dip", {"level": "7 V", "duration": 0.1}, "expected a ratio such as"),
        ("IEC 61000-4-29 dip", {"level": "700 %", "duration": 0.1}, "expected a level of 0 % to 200 %"),
        ("IEC 61000-4-29 interruption", {"duration": 0.1}, "expected an 'impedance' beside 'standard'"),
        ("ISO 16750-2 starting", {"level": "V"}, "expected one of I, II, III, IV, got 'V'"),
        ("ISO 16750-2 reset", {"level": "E"}, "expected one of A, B, C, D, got 'E'"),
        ("EN 50155 variation", {"level": "80 %", "duration": 1.0}, "expected one of 70 %, 125 %, got '80 %'"),
        ("EN 50155 variation", {"level": "70 %"}, "expected a 'duration' beside 'standard', got none"),
        ("EN 50155 interruption", {"level": "S1"}, "expected one of S2, S3, got 'S1'"),
        ("EN 50155 change-over", {}, "expected a 'level' of C1 or C2 beside 'standard', got none"),
        ("MIL-STD-704F normal transient", {"level": "up"}, "a 'level' of over or under beside 'standard'"),
        ("RTCA DO-160G interruption", {"level": "C"}, "expected one of A, B, Z, got 'C'"),
    ],
)
def test_a_choice_that_a_standard_does_not_have_is_told_with_what_there_is(name, choice, said):
    with pytest.raises(NoSuchChoice, match="expected") as error:
        pieces(name, **choice)
    assert said in str(error.value)


def test_levels_that_the_standard_leaves_open_are_admitted():
    assert pieces("IEC 61000-4-29 dip", level="55 %", duration=0.25)[1] == Jump(pytest.approx(6.6))


def test_a_vehicle_of_24_v_has_its_own_levels_and_no_jump_start():
    assert pieces("ISO 16750-2 momentary drop", 24.0, 18.0)[1].voltage == 9.0
    with pytest.raises(NoSuchChoice, match="24 V"):
        pieces("ISO 16750-2 jump start", 24.0, 18.0)


def test_high_impedance_switches_off_and_low_goes_to_zero():
    assert pieces("IEC 61000-4-29 interruption", duration=0.03, impedance="high")[1] == Off(0.03)
    assert pieces("EN 50155 interruption", level="S3", impedance="low")[1] == Jump(0.0)

"""Quantities: parsing, printing, and what is said of a wrong text."""
# ruff: noqa: E501 - the messages stand here as they are printed

from __future__ import annotations

import math
import re
import time
from pathlib import Path

import pint
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from railwright.compiled_cache import CACHE
from railwright.quantities import (
    DIMENSION_NAMES,
    EXAMPLES,
    AutoVolts,
    Dimension,
    Interval,
    Seconds,
    Uncertain,
    UncertainFarads,
    VoltRange,
    parse_interval,
    parse_uncertain,
    parse_value,
    quoted,
    show,
    units,
)
from railwright.quantities.units import USUAL


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("12 V", "V", 12.0),
        ("12V", "V", 12.0),
        ("  12  V ", "V", 12.0),
        ("12 volts", "V", 12.0),
        ("1.2e1 V", "V", 12.0),
        ("−5 mV", "V", -0.005),
        ("+5 V", "V", 5.0),
        (".5 V", "V", 0.5),
        ("5. V", "V", 5.0),
        ("40 ms", "s", 0.04),
        ("2 min", "s", 120.0),
        ("60 mohm", "ohm", 0.06),
        ("1 kΩ", "ohm", 1000.0),
        ("12\u00a0V", "V", 12.0),
        ("12\u202fV", "V", 12.0),
        ("1 Mohm", "ohm", 1e6),
        ("1 GΩ", "ohm", 1e9),
        ("2 MV/s", "V/s", 2e6),
        ("1000 uF", "F", 0.001),
        ("1000 µF", "F", 0.001),
        ("1000 μF", "F", 0.001),
        ("0.6 uH/m", "H/m", 0.6e-6),
        ("0.5 mm2", "m**2", 0.5e-6),
        ("0.5 mm²", "m**2", 0.5e-6),
        ("0.5 mm^2", "m**2", 0.5e-6),
        ("1 V/ms", "V/s", 1000.0),
        ("0.5 V/min", "V/s", 0.5 / 60),
        ("12 mC", "C", 0.012),
        ("2 A*s", "C", 2.0),
        ("23 °C", "degC", 23.0),
        ("-10 degC", "degC", -10.0),
        ("85 %", "1", 0.85),
        ("200 ppm", "1", 2e-4),
        ("0.85", "1", 0.85),
        ("0", "V", 0.0),
    ],
)
def test_a_value_in_si_units(text, unit, value):
    assert parse_value(text, unit) == pytest.approx(value, rel=1e-14)


def test_a_power_of_ten_costs_no_digit():
    assert parse_value("40 ms", "s") == 0.04
    assert parse_value("4.7 uF", "F") == 4.7e-6
    assert parse_value("123.456e3 µA", "A") == 0.123456


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("12 A", "V", "expected a voltage such as '12 V', got '12 A': 'A' is a current"),
        ("12", "V", "expected a voltage such as '12 V', got '12' without a unit; add it"),
        (12, "V", "expected a voltage such as '12 V', got 12 without a unit; add it"),
        (None, "V", "expected a voltage such as '12 V', got nothing"),
        ({}, "V", "expected a voltage such as '12 V', got keys with values"),
        ([], "V", "expected a voltage such as '12 V', got a list"),
        ("", "V", "expected a voltage such as '12 V', got ''"),
        ("12 v", "V", "expected a voltage such as '12 V', got '12 v': 'v' is no unit; did you mean 'V'?"),
        ("10 uf", "F", "expected a capacitance such as '1000 uF', got '10 uf': 'uf' is no unit; did you mean 'uF'?"),
        ("1,5 V", "V", "expected a voltage such as '12 V', got '1,5 V'; write a decimal point: '1.5 V'"),
        ("22k", "ohm", "expected a resistance such as '60 mohm', got '22k': 'k' is no unit of it; write '22 kohm'"),
        ("4.7 M", "ohm", "expected a resistance such as '60 mohm', got '4.7 M': 'M' is no unit of it; write '4.7 Mohm'"),
        ("470u", "F", "expected a capacitance such as '1000 uF', got '470u': 'u' is no unit of it; write '470 uF'"),
        ("2.5e3 m", "A", "expected a current such as '250 mA', got '2.5e3 m': 'm' is no unit of it; write '2.5e3 mA'"),
        ("15m", "s", "expected a time such as '40 ms', got '15m': 'm' is no unit of it; write '15 ms'"),
        ("nan V", "V", "expected a voltage such as '12 V', got 'nan V'"),
        ("inf V", "V", "expected a voltage such as '12 V', got 'inf V'"),
        ("1e400 V", "V", "expected a voltage such as '12 V', got '1e400 V', which is too large a number"),
        ("12 V ** 1e9", "V", "expected a voltage such as '12 V', got '12 V ** 1e9': that is no unit"),
        ("12 V**9**9**9", "V", "expected a voltage such as '12 V', got '12 V**9**9**9': that is no unit"),
        ("12 V; import os", "V", "expected a voltage such as '12 V', got '12 V; import os': that is no unit"),
        ("12 __import__('os')", "V", "expected a voltage such as '12 V', got '12 __import__('os')': that is no unit"),
        ("12 V\n", "m", "expected a length such as '1.5 m', got '12 V\\n': 'V' is a voltage"),
        ("٣ V", "V", "expected a voltage such as '12 V', got '٣ V'"),
        ("0x10 V", "V", "expected a voltage such as '12 V', got '0x10 V': that is no unit"),
        ("10 dBV", "V", "expected a voltage such as '12 V', got '10 dBV': 'dBV' is no unit"),
        ("9 V .. 16 V", "V", "expected a voltage such as '12 V', got '9 V .. 16 V'; write one value, without a range or tolerance"),
        ("296 K", "degC", "expected a temperature such as '23 °C', got '296 K'; write degrees Celsius as '°C'"),
        ("150 Ms", "s", "expected a time such as '40 ms', got '150 Ms': 'Ms' has the prefix 'M', far too large here; did you mean 'ms'?"),
        ("2 Mm", "m", "expected a length such as '1.5 m', got '2 Mm': 'Mm' has the prefix 'M', far too large here; did you mean 'mm'?"),
        ("5 MV", "V", "expected a voltage such as '12 V', got '5 MV': 'MV' has the prefix 'M', far too large here; did you mean 'mV'?"),
        ("5 MA", "A", "expected a current such as '250 mA', got '5 MA': 'MA' has the prefix 'M', far too large here; did you mean 'mA'?"),
        ("10 PF", "F", "expected a capacitance such as '1000 uF', got '10 PF': 'PF' has the prefix 'P', far too large here; did you mean 'pF'?"),
        ("2 V/Ms", "V/s", "expected a voltage per time such as '1 V/ms', got '2 V/Ms': 'V/Ms' has the prefix 'M', far too large here; did you mean 'V/ms'?"),
        ("2 GV", "V", "expected a voltage such as '12 V', got '2 GV': 'GV' has the prefix 'G', far too large here; write it without"),
        ("2 furlong", "m", None),
    ],
    ids=repr,
)  # fmt: skip
def test_what_is_said_of_a_wrong_value(text, unit, message):
    if message is None:  # any unit of the right dimension is understood
        assert parse_value(text, unit) == pytest.approx(402.336, rel=1e-4)
        return
    with pytest.raises(ValueError, match=r"^expected") as caught:
        parse_value(text, unit)
    assert str(caught.value) == message


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("16 V .. 9 V", "expected a range from low to high, got '16 V .. 9 V', which is upside down; write '9 V .. 16 V'"),
        ("9 .. 16 V", "expected a range with a unit at both ends, got '9 .. 16 V'; write '9 V .. 16 V'"),
        ("9 V - 16 V", "expected a range such as '12 V .. 24 V', got '9 V - 16 V'; write '9 V .. 16 V'"),
        ("9 V to 16 V", "expected a range such as '12 V .. 24 V', got '9 V to 16 V'; write '9 V .. 16 V'"),
        (".. 16 V", "expected a range such as '12 V .. 24 V', got '.. 16 V'; write both ends"),
        ("9 V", "expected a range such as '12 V .. 24 V', got '9 V'"),
        ("9 V .. 16 A", "expected a voltage such as '12 V', got '16 A': 'A' is a current"),
        (9, "expected a range such as '12 V .. 24 V', got 9"),
    ],
    ids=repr,
)  # fmt: skip
def test_what_is_said_of_a_wrong_range(text, message):
    with pytest.raises(ValueError, match=r"^expected") as caught:
        parse_interval(text, "V")
    assert str(caught.value) == message


@pytest.mark.parametrize("text", ["9 V .. 16 V", "9V..16V", "9 V … 16 V", "9 V ... 16 V", "9000 mV .. 16 V"])
def test_a_range(text):
    assert parse_interval(text, "V") == Interval(9.0, 16.0, text)


def test_no_break_spaces_are_blanks():
    assert parse_interval("9\u00a0V\u00a0.. 16\u202fV", "V") == Interval(9.0, 16.0, "9 V .. 16 V")
    assert parse_uncertain("10\u00a0uF ±\u00a010\u2009%", "F").high == pytest.approx(11e-6)


def test_a_range_may_begin_at_a_bare_zero():
    assert parse_interval("0 .. 36 V", "V").high == 36.0
    assert parse_interval("-1 V .. 25 V", "V").low == -1.0
    assert 5.0 in parse_interval("0 .. 36 V", "V")
    assert 37.0 not in parse_interval("0 .. 36 V", "V")


@pytest.mark.parametrize(
    ("text", "unit", "nominal", "low", "high"),
    [
        ("1000 uF ± 20 %", "F", 1e-3, 0.8e-3, 1.2e-3),
        ("1000 uF +/- 20 %", "F", 1e-3, 0.8e-3, 1.2e-3),
        ("1000 uF +- 20%", "F", 1e-3, 0.8e-3, 1.2e-3),
        ("3.6 W ± 0.2 W", "W", 3.6, 3.4, 3.8),
        ("3.6 W ± 200 mW", "W", 3.6, 3.4, 3.8),
        ("8.2 V .. 8.6 V", "V", 8.4, 8.2, 8.6),
        ("83 % .. 89 %", "1", 0.86, 0.83, 0.89),
        ("0.86 ± 3 %", "1", 0.86, 0.8342, 0.8858),
        ("2 ± 10 %", "1", 2.0, 1.8, 2.2),
        ("0.86 ± 0.03", "1", 0.86, 0.83, 0.89),
        ("100 % ± 3 %", "1", 1.0, 0.97, 1.03),
        ("86 % ± 0 %", "1", 0.86, 0.86, 0.86),
        ("23 °C ± 3 °C", "degC", 23.0, 20.0, 26.0),
        ("-5 V ± 10 %", "V", -5.0, -5.5, -4.5),
        ("20 mA", "A", 0.02, 0.02, 0.02),
    ],
)
def test_bounds(text, unit, nominal, low, high):
    value = parse_uncertain(text, unit)
    assert (value.nominal, value.low, value.high) == pytest.approx((nominal, low, high), rel=1e-12)
    assert value.text == text
    assert value.certain == (low == high)


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("1000 uF ± 20", "F", "expected a tolerance such as '± 10 %' or '± 2 uF'"),
        ("3.6 W ± 2 A", "W", "expected a tolerance"),
        ("3.6 W ± -5 %", "W", "expected a tolerance of zero or more"),
        (
            "10 uF ± 20 % gaussian k=2",
            "F",
            "expected one of normal k=2, rectangular, triangular, arcsine behind",
        ),
        ("10 uF ± 2 uF nrmal", "F", "expected one of normal k=2, rectangular, triangular, arcsine behind"),
        ("60 mohm ± 5 mhm", "ohm", "expected a tolerance such as"),
        ("23 °C ± 3 %", "degC", "expected a tolerance in degrees"),
        ("3.6 W ± 1 W ± 1 W", "W", "expected a tolerance"),
        (
            "86 % ± 3 %",
            "1",
            "expected both ends of a figure in percent, got '86 % ± 3 %', which may be points or parts of it; "
            "write '83 % .. 89 %' or '83.42 % .. 88.58 %'",
        ),
        ("50% +/- 10%  normal k=2", "1", "expected both ends of a figure in percent, got '50% +/- 10%', "),
        ("85 % ± 3%", "1", "expected both ends of a figure in percent"),
    ],
)
def test_what_is_said_of_wrong_bounds(text, unit, words):
    with pytest.raises(ValueError, match=r"^expected") as caught:
        parse_uncertain(text, unit)
    assert str(caught.value).startswith(words)


@pytest.mark.parametrize("unit", USUAL)
def test_usual_units_are_as_pint_has_them(unit):
    registry = pint.UnitRegistry()
    target = registry.parse_units("dimensionless" if unit == "1" else unit)
    for text, power in USUAL[unit].items():
        name = re.sub(r"m2\b", "m**2", text.replace("%", "percent").replace("²", "**2"))
        name = re.sub(r"A(\*\*|\^)?2[*·]?s", "A**2*s", name)
        assert registry.Quantity(1.0, name).to(target).magnitude == pytest.approx(10.0**power, rel=1e-12), (
            text
        )


@pytest.mark.parametrize("unit", DIMENSION_NAMES)
def test_examples_of_messages_can_be_written(unit):
    assert parse_value(EXAMPLES[unit], unit) > 0
    for shape, parser in (
        ("value", parse_value),
        ("interval", parse_interval),
        ("uncertain", parse_uncertain),
    ):
        for shown in Dimension(unit, shape).examples:
            assert parser(shown, unit) is not None


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.0405, "s", "40.5 ms"),
        (3600.0, "s", "3600 s"),
        (0.25, "A", "0.25 A"),
        (0.05, "A", "50 mA"),
        (0.99996e-3, "A", "1 mA"),
        (12345.0, "V", "12.35 kV"),
        (-0.008, "V", "-8 mV"),
        (5e-7, "m**2", "0.5 mm²"),
        (2000.0, "V/s", "2 kV/s"),
        (0.0, "ohm", "0 Ω"),
        (1e-3, "F", "1 mF"),
        (2e6, "V", "2000 kV"),
        (2e6, "V/s", "2 MV/s"),
        (2e6, "ohm", "2 MΩ"),
        (4.7e-6, "F", "4.7 µF"),
        (5e-14, "F", "0.05 pF"),
        (0.85, "1", "85 %"),
        (-40.0, "degC", "-40 °C"),
        (4.957e-28, "V", "0 V"),  # what a rehearsal's rounding leaves of 0 V
        (-2e-16, "s", "0 s"),
        (math.nan, "V", "nan V"),
    ],
)
def test_printing(value, unit, text):
    assert show(value, unit) == text


@given(
    st.floats(min_value=1e-15, max_value=1e12) | st.floats(min_value=-1e12, max_value=-1e-15) | st.just(0.0),
    st.sampled_from(sorted(DIMENSION_NAMES)),
    st.integers(3, 15),
)
@settings(max_examples=400, deadline=None)
def test_what_is_printed_can_be_parsed(value, unit, digits):
    assert parse_value(show(value, unit, digits), unit) == pytest.approx(value, rel=10.0 ** (1 - digits))


def tried(parser, text: str, unit: str):
    """What the parser makes of a text, and what it says where it makes nothing of it."""
    try:
        return parser(text, unit), ""
    except ValueError as error:
        return None, str(error)


@given(st.text(max_size=40), st.sampled_from(sorted(DIMENSION_NAMES)))
@example("\x1f-0", "1")
@settings(max_examples=200, deadline=None)
def test_any_text_is_a_value_or_one_sentence(text, unit):
    for parser in (parse_value, parse_interval, parse_uncertain):
        result, sentence = tried(parser, text, unit)
        if isinstance(result, Interval | Uncertain):
            assert math.isfinite(result.low)
            assert math.isfinite(result.high)
        elif isinstance(result, float):
            assert math.isfinite(result)
        else:
            assert sentence.startswith("expected ")
            assert sentence.isprintable()


@given(
    st.from_regex(r"[0-9]{1,3}(e[0-9]{1,4})? ?[VAsFmuk%°Ω*/^ 0-9.()_-]{0,20}", fullmatch=True),
    st.sampled_from(sorted(DIMENSION_NAMES)),
)
@settings(max_examples=200, deadline=2000)
def test_texts_that_look_like_quantities_do_no_harm(text, unit):
    result, sentence = tried(parse_value, text, unit)
    assert sentence.startswith("expected ") if result is None else math.isfinite(result)


def test_a_long_text_is_refused_at_once():
    start = time.process_time()
    for text in ("9" * 5_000_000, "1 " + "V" * 5_000_000, "1 V .." * 1_000_000, "1 V ±" * 1_000_000):
        with pytest.raises(ValueError, match=r"^expected"):
            parse_uncertain(text, "V")
    assert time.process_time() - start < 1.0


def test_quoted_is_one_short_line():
    assert quoted("a\nb") == "'a\\nb'"
    assert len(quoted("x" * 1000)) < 110
    assert quoted(None) == "nothing"


class _Part(BaseModel):
    level: AutoVolts = 1.0
    time: Seconds = 0.0
    window: VoltRange = Interval(0.0, 1.0)
    bulk: UncertainFarads = Uncertain(1.0, 1.0, 1.0)


def _said(**given: object) -> str:
    with pytest.raises(ValidationError) as caught:
        _Part.model_validate(given)
    return str(caught.value.errors()[0]["ctx"]["error"])


def test_fields_of_models():
    part = _Part.model_validate({"level": "auto", "time": 0, "window": "9 V .. 16 V", "bulk": "10 uF ± 10 %"})
    assert part.level == "auto"
    assert part.time == 0.0
    assert part.window.high == 16.0
    assert part.bulk.low == pytest.approx(9e-6)
    assert _said(level="automatic") == "expected a voltage such as '12 V' or auto, got 'automatic'"
    assert _said(time="-1 s") == "expected a time of zero or more, got '-1 s'; remove the minus"
    assert _said(time="31 day") == "expected a time of at most 30 days, got '31 day'; correct its unit"
    assert _said(bulk="10 uF ± 120 %") == "expected a capacitance above zero, got '10 uF ± 120 %'"
    assert _said(time=False) == "expected a time such as '40 ms', got False without a unit; add it"


def test_what_pint_keeps_is_kept_for_each_place_at_which_it_is_installed(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """It holds the paths of the files that it came from: an environment that was removed ended every command."""
    monkeypatch.setenv(CACHE, str(tmp_path))
    for place in ("/here/pint/__init__.py", "/there/pint/__init__.py"):
        monkeypatch.setattr(pint, "__file__", place)
        assert units._registry.__wrapped__()("1 inch").to("mm").magnitude == pytest.approx(25.4)
    kept = [folder for folder in (tmp_path / "units").iterdir() if any(folder.iterdir())]
    assert len(kept) == 2

"""Dialects with whole numbers for levels, a sign before the value, and answers that hold all outputs."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from tests.bench import replaced
from tests.instruments.coded_front import BY_CODES, DIALECT
from tests.instruments.stated_supply import DIALECT as STATED
from tests.said import says
from tests.truth.saying import HEAD, station

from railwright.dialects.dialect import Dialect, DialectError, read_dialect
from railwright.dialects.harmless import why_harmful
from railwright.dialects.proofs import entries_of
from railwright.documents.loader import load_documents
from railwright.documents.sources import DocumentErrors
from railwright.guard.answers import Code
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, read_look
from railwright.instruments.errors import InstrumentError
from railwright.instruments.off_entries import outputs_off
from railwright.instruments.session import InstrumentSession
from railwright.instruments.supply import OutputSetting, SupplyDriver
from railwright.running.off_bench import read_bench

VOLTAGE = '{command: "V{channel}={value}", query: "V?", field: {1: 1, 2: 2},\n            '
CODE = "code: {scale: 0.002, offset: -0.1, highest: 20000}"


def edited(*edits: tuple[str, str]) -> Dialect:
    return read_dialect(replaced(DIALECT, *edits), "coded.dialect.yaml")


def never(*_: object) -> InstrumentSession:
    raise AssertionError("no session is wanted here")


def bench_of(folder: Path, *edits: tuple[str, str], bench: tuple[tuple[str, str], ...] = ()) -> Path:
    (folder / "coded.dialect.yaml").write_text(replaced(DIALECT, *edits), "utf-8")
    speaks = [(f"dialect: {each}", "dialect: coded") for each in ("channel-list", "selected-output")]
    procedure = f"procedure: Two inputs\n{HEAD}  - hold: 100 ms\nrecord: {{every: 20 ms}}\n"
    return station(folder, procedure, {"quay.bench.yaml": [*speaks, *bench]})


@pytest.mark.parametrize(
    ("header", "sent", "asked"),
    [
        ("VOLT={value}", "VOLT=5", "VOLT?"),
        ("VSET{value}", "VSET5", "VSET?"),
        ("SOURce:VOLTage#{value}", "SOURce:VOLTage#5", "SOURce:VOLTage?"),
        ("VSET {value}", "VSET 5", "VSET?"),
    ],
)
def test_a_value_stands_where_the_header_says(header: str, sent: str, asked: str) -> None:
    text = replaced(
        STATED, ("addressing: parameter\ncalled: {1: A, 2: B}", "addressing: none"),
        ("  voltage: VOLT\n", f'  voltage: "{header}"\n'), ('LAMP {channel}"', 'LAMP"'),
        ('"LAMP {channel}?"', '"LAMP?"'), ("CURR {value},{channel}", "CURR"), ("CURR? {channel}", "CURR?"),
    )  # fmt: skip
    dialect = read_dialect(text, "one.dialect.yaml")
    assert dialect.set_unit("voltage", 1, 5.0) == sent
    assert dialect.query_unit("voltage", 1) == asked


@pytest.mark.parametrize(("select", "sent"), [("INST={value}", "INST=B"), ("AT:{value}", "AT:B")])
def test_a_selection_stands_where_its_header_says(select: str, sent: str) -> None:
    """And somebody else's is noticed by what it is asked back."""
    text = replaced(
        STATED, ("addressing: parameter", "addressing: selected-output"),
        ("compound: true", "compound: false"),
        ('identify: "WHO?"', f'identify: "WHO?"\n  select: "{select}"\n  selected: "INST?"'),
        ('LAMP {channel}"', 'LAMP"'), ('"LAMP {channel}?"', '"LAMP?"'), ("CURR {value},{channel}", "CURR"),
        ("CURR? {channel}", "CURR?"),
    )  # fmt: skip
    dialect = read_dialect(text, "one.dialect.yaml")
    units = [*dialect.select(2), "VOLT 5", "VOLT?"]
    assert units[0] == sent
    assert dialect.checked(units) == [sent, "VOLT 5", "VOLT?", "INST?"]
    assert dialect.unchecked(units, ["5", "B"]) == ["5"]
    with pytest.raises(ValueError, match="output A is selected where B was"):
        dialect.unchecked(units, ["5", "A"])


def test_one_answer_says_what_is_of_each_output() -> None:
    dialect = edited()
    answers = ["12.01,0.5,5.02,0.2"] * 2
    assert dialect.read_numbers(answers, [1]) == [(12.01, 0.5)]
    assert dialect.read_numbers(answers, [2]) == [(5.02, 0.2)]
    assert [dialect.understood("output", "1,0", channel) for channel in (1, 2)] == [True, False]
    assert dialect.understood_status(["CV,NO", "0,2"], 2) == ("", ("current limit",))
    assert dialect.query_unit("output", 2) == "OUT?"
    with pytest.raises(ValueError, match="at least 3 fields"):
        dialect.read_numbers(["12.01,0.5"] * 2, [2])
    with pytest.raises(ValueError, match=r"\(1, 2\), got 3"):
        dialect.understood("output", "1,0", 3)


# By hand: 12.1 V / 2 mV = 6050; 1.5 A = 1500 mA / 0.5 mA = 3000.
@pytest.mark.parametrize(
    ("setting", "value", "sent"),
    [
        ("voltage", 12.0, "V1=6050"),
        ("voltage", 0.0, "V1=50"),
        ("voltage", 39.9, "V1=20000"),
        ("voltage", 12.0009, "V1=6050"),
        ("voltage", 12.0011, "V1=6051"),
        ("current_limit", 1.5, "I1=3000"),
        ("trip_delay", 0.06, "D1=60"),
    ],
)
def test_a_level_is_sent_and_understood_as_a_code(setting: str, value: float, sent: str) -> None:
    dialect = edited()
    assert dialect.set_unit(setting, 1, value) == sent  # type: ignore[arg-type]
    answer = f"{sent.partition('=')[2]},7"
    assert dialect.understood(setting, answer, 1) == pytest.approx(value, abs=1.01e-3)  # type: ignore[arg-type]


@pytest.mark.parametrize("of", ["command", "answer"])
def test_a_code_may_be_of_one_way_alone(of: str) -> None:
    dialect = edited((CODE, f"{CODE[:-1]}, of: {of}}}"))
    assert dialect.set_unit("voltage", 1, 12.0) == ("V1=6050" if of == "command" else "V1=12")
    assert dialect.understood("voltage", "6050,0", 1) == (6050.0 if of == "command" else pytest.approx(12.0))


@pytest.mark.parametrize("value", [-0.1, 40.0, 1e9, float("nan")])
def test_a_level_without_a_code_is_not_sent(value: float) -> None:
    with pytest.raises(ValueError, match=r"0 and 39\.9"):
        edited().set_unit("voltage", 1, value)


@pytest.mark.parametrize("answer", ["-1", "20001", "6050.5", "12 V", "", "nan", "1e3", "9.9E37"])
def test_what_is_no_code_is_no_answer(answer: str) -> None:
    code = Code(0.002, -0.1, 0, 20000)
    with pytest.raises(ValueError, match="whole number from 0 to 20000"):
        code.value(answer)
    with pytest.raises(ValueError, match="whole number from 0 to 20000"):
        edited().understood("voltage", f"{answer},0", 1)


def test_the_guard_reads_and_sets_by_codes_what_the_plan_says(tmp_path: Path) -> None:
    """Kept as JSON for whoever switches off later, too."""
    job = load_documents(bench_of(tmp_path, BY_CODES))
    driver = SupplyDriver("left", job.bench.supplies["left"], never)
    driver_off = outputs_off(driver, ("1", "2"))
    (own,) = (each for name, each in driver_off.items() if name.output == "2")
    plan = OffPlan((), (InputOff("main", (own,), False, 0.2),))
    kept = OffPlan.from_json(plan.to_json()).inputs[0].outputs[0]
    assert kept == replace(own, name=str(own.name))
    # 2.01 V and 35 mA: (2.01 + 1) / 0.5 mV and (0.035 + 0.5) / 0.05 mA.
    looks = dict(zip(driver.look(("1", "2")), range(9), strict=False))
    answers = ["0"] * len(looks)
    answers[looks["OUT?"]], answers[looks["ADC?"]] = "1,0", "2000,10000,6020,10700"
    look = read_look(kept, answers)
    assert look is not None
    assert (look.off, look.voltage, look.current) == (True, pytest.approx(2.01), pytest.approx(0.035))
    assert [kept.setting(volts) for volts in (12.0, 0.0, -1.0, 99.0)] == [
        ["V2=6050"], ["V2=50"], ["V2=50"], ["V2=20000"]
    ]  # fmt: skip
    answers[looks["ADC?"]] = "2000,10000,131072,10700"
    with pytest.raises(ValueError, match="whole number"):
        read_look(kept, answers)


@pytest.mark.parametrize(
    "edits", [(), (BY_CODES,), (("  sense: {command:", "  opp: cannot\n  sense: {command:"),)]
)
def test_what_switches_off_without_a_run_says_what_the_driver_says(
    edits: tuple[tuple[str, str], ...], tmp_path: Path
) -> None:
    bench = load_documents(bench_of(tmp_path, *edits)).bench
    for found in read_bench((tmp_path / "quay.bench.yaml").read_text("utf-8"), tmp_path):
        driver = SupplyDriver(found.name, bench.supplies[found.name], never)
        wanted = {str(name): each for name, each in outputs_off(driver, driver.outputs).items()}
        assert found.plan is not None
        assert len(found.plan.look) == 2
        for output in found.outputs:
            own, other = output.off, wanted[output.name]
            assert own is not None
            assert (own.off, own.off_words) == (other.off, other.off_words)
            assert (own.volt_code, own.ampere_code) == (other.volt_code, other.ampere_code)
            assert _places(own, found.plan.look) == _places(other, driver.look(driver.outputs))


def _places(output: OutputOff, asked: tuple[str, ...]) -> list[tuple[str, int]]:
    return [(asked[answer], field) for answer, field in (output.state, output.voltage, output.current)]


def test_a_mistake_in_what_is_new_keeps_no_off_back(tmp_path: Path) -> None:
    """And no output is read to be off by what is not understood."""
    edits = [
        ("highest: 131071}}\n  current", "highest: many}}\n  current", True),
        ("scale: 0.0005, ", "", True),
        ("field: {1: 1, 2: 3}, code: {scale: 0.0005", "field: {1: one}, code: {scale: 0.0005", True),
        ('query: "OUT?", field: {1: 1, 2: 2}', 'query: "OUT?", field: [1, 2]', False),
    ]
    bench_of(tmp_path, BY_CODES)
    right = (tmp_path / "coded.dialect.yaml").read_text("utf-8")
    for number, (old, new, garbled) in enumerate(edits):
        folder = tmp_path / str(number)
        folder.mkdir()
        (folder / "coded.dialect.yaml").write_text(replaced(right, (old, new)), "utf-8")
        (left, _) = read_bench((tmp_path / "quay.bench.yaml").read_text("utf-8"), folder)
        offs = [output.off for output in left.outputs]
        assert [off.off for off in offs if off is not None] == [("OUT1=0",), ("OUT2=0",)]
        assert offs[0] is not None
        answers = ["0,0" if "OUT" in each else "2000,10000,2000,10000" for each in left.plan.look]  # type: ignore[union-attr]
        if garbled:
            with pytest.raises(ValueError, match="expected"):
                read_look(offs[0], answers)


WRONG = [
    (CODE, f"{CODE}, digits: 3", "no 'digits' beside 'code'"),
    (CODE, f"{CODE}, lowest: 1", "no 'lowest' beside 'code'"),
    ("highest: 20000", "highest: 0", "'highest' above 'lowest'"),
    ("scale: 0.002", "scale: 0", "greater than 0"),
    (", highest: 20000", "", "highest: Field required"),
    ('query: "V?", field: {1: 1, 2: 2}', 'query: "V{channel}?", field: {1: 1, 2: 2}', "for all outputs"),
    ("field: {1: 1, 2: 2},\n            code", "field: {},\n            code", "field"),
    ('query: "DOES?", field: {1: 1, 2: 2}', 'query: "DOES{channel}?", field: {1: 1}', "for all outputs"),
    ('query: "WHY?", field: {1: 1, 2: 2}', 'query: "OUT?", field: 1', "wherever 'OUT?' stands"),
    ('sense: {command: "S{channel}={value}"',
     'sense: {code: {scale: 1, highest: 1}, command: "S{channel}={value}"',
     "which is no number"),
    ('{query: "MEAS?", field: {1: 1, 2: 3}}', '{query: "MEAS?", code: {scale: 1, highest: 9, of: answer}}',
     "no 'of'"),
    ('ovp: "P{channel}={value}"', 'ovp: "P{channel}={value};*RST"', "';'"),
    ('ovp: "P{channel}={value}"', 'ovp: "={value}"', "header"),
    ('clear_trips: "C{channel}"', 'clear_trips: "C{channel}={value}"', "without {value}"),
    ('ovp: "P{channel}={value}"', 'ovp: "P={value}"', "numbered-header"),
    ("digits: 0}", "resolution: [{grid: 1, up_to: 5}, {grid: 2, up_to: 5}]}", "above the one before"),
]  # fmt: skip


@pytest.mark.parametrize(("right", "wrong", "told"), WRONG)
def test_a_mistake_is_told_with_its_line(right: str, wrong: str, told: str) -> None:
    with pytest.raises(DialectError) as caught:
        edited((right, wrong))
    assert told in str(caught.value)


def test_an_output_or_a_level_that_the_dialect_has_nothing_for_is_told_with_its_line(tmp_path: Path) -> None:
    with pytest.raises(DocumentErrors, match=r"quay\.bench\.yaml:\d+:\d+: .*whose field") as caught:
        load_documents(bench_of(tmp_path, ("field: {1: 1, 2: 3}", "field: {1: 1}")))
    assert says(str(caught.value), "1", "2", "coded")
    with pytest.raises(DocumentErrors, match=r"quay\.bench\.yaml:\d+:\d+: .*at most 29.9 V.*got 36 V"):
        load_documents(bench_of(tmp_path, ("highest: 20000", "highest: 15000")))


@pytest.mark.parametrize(
    ("text", "own", "harmful"),
    [
        ("V1=0", "V{channel}={value}", True),
        ("OUT1", "OUT{value}", True),
        ("OUTON", "OUT{value}", True),
        ("VOLT=12", "X", True),
        ("LOCK=1", "X", True),  # nothing is known of it
        ("REMOTE=1", "V{channel}={value}", True),
    ],
)
def test_what_a_session_may_not_begin_with(text: str, own: str, harmful: bool) -> None:
    assert (why_harmful(text, [("voltage", own)], vouched=False) != "") is harmful


def test_what_somebody_vouches_for_may_have_a_sign_before_its_value() -> None:
    opening = (
        "compound: false",
        'compound: false\nsession: {opening: [{send: "LOCK=1", because: "a panel lock"}]}',
    )
    assert [each.text for each in edited(opening).session_settings.opening] == ["LOCK=1"]
    with pytest.raises(DialectError, match="changes no output"):
        edited((opening[0], opening[1].replace("LOCK=1", "V1=5")))


def test_a_grid_that_depends_on_the_number(tmp_path: Path) -> None:
    """1 mV up to 10 V, 10 mV above: 12.004 V that is read as 12.01 V stands as it was set."""
    edits = (CODE, "resolution: [{up_to: 10, grid: 0.001}, {grid: 0.01}]")
    bench = load_documents(bench_of(tmp_path, edits)).bench
    driver = SupplyDriver("left", bench.supplies["left"], never)
    for value, got, same in (
        (12.004, 12.013, True), (12.004, 12.016, False), (9.004, 9.0055, True), (9.004, 9.013, False),
        (10.0, 10.009, False),
    ):  # fmt: skip
        assert driver.same(OutputSetting("1", "voltage", value), got) is same, (value, got)


def test_what_is_a_code_is_proved_with_its_code() -> None:
    one, other = edited(), edited(("scale: 0.002", "scale: 0.001"))
    assert entries_of(one, "CV", 1) != entries_of(other, "CV", 1)
    assert entries_of(edited(BY_CODES), "CV", 1) != entries_of(one, "CV", 1)


def test_a_level_beyond_its_codes_ends_before_it_is_sent(tmp_path: Path) -> None:
    driver = SupplyDriver("left", load_documents(bench_of(tmp_path)).bench.supplies["left"], never)
    with pytest.raises(InstrumentError, match="output 1: voltage: 50 lies beyond the codes"):
        driver.told([OutputSetting("1", "voltage", 50.0)])


def test_a_list_of_points_beside_codes_is_refused() -> None:
    own = "points: {voltages: LV, dwells: LD, count: LC, start: GO, stop: HALT}\nactions: {"
    mode = '  voltage_mode: "M{channel}={value}"\n  sense: {'
    with pytest.raises(DialectError, match="'points'"):
        edited(("actions: {", own), ("  sense: {", mode))

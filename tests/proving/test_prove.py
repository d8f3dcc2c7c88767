"""A bench proved on simulated instruments: nothing is found where all is right; each fault is, and named."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from tests.bench import BENCH, EXAMPLE
from tests.proving.bench import LOAD, bench_with_load, load_of
from tests.said import says
from typer.testing import CliRunner, Result

from railwright.cli.app import app
from railwright.dialects.dialect import load_dialect
from railwright.dialects.files import dialect_names
from railwright.dialects.proofs import ALWAYS, provokable
from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.guard.link import GuardLink
from railwright.instruments.errors import InstrumentError
from railwright.proving.bench import BenchProofRecord, NotReady, Pair, pairs_of, prove_bench
from railwright.proving.lines import ProofLine
from railwright.proving.simulated import simulated_place
from railwright.twin.faults import TwinFault
from railwright.twin.virtual_network import VirtualNetwork

AT = dt.datetime(2026, 11, 29, 12, tzinfo=dt.UTC)
LEFT, RIGHT = OutputName("left.1"), OutputName("right.1")
SLEWS = ("rising slew", "falling slew")
SILICONE, THIN = "silicone pair", "thin pair"


@dataclass
class Proved:
    """What was found, and what was true of the twins: the highest voltage at each place, and what is on."""

    record: BenchProofRecord
    highest: dict[OutputName, float] = field(default_factory=dict)
    on: list[str] = field(default_factory=list)


def prove(
    *pairs: Pair,
    bench: Bench | None = None,
    meddle: Callable[[VirtualNetwork], None] = lambda network: None,
    connected: bool = True,
    ready: bool = True,
    **given: Any,
) -> Proved:
    made = bench or bench_with_load()
    proved = Proved(None)  # type: ignore[arg-type]

    @contextmanager
    def place(output: OutputName, lead: str) -> Iterator[GuardLink]:
        with simulated_place(made, output, lead, "sink", connected=connected, **given) as (link, network):
            meddle(network)
            try:
                yield link
            finally:
                traces = network.truth().traces
                if lead in traces:
                    proved.highest[output] = float(traces[lead].columns["terminal_voltage"].max())
                outputs = [o for server in network.servers.values() for o in server.supply.plant.outputs]
                proved.on += [name for name in outputs if network.on(name)]
                proved.on += ["sink"] if network.loads["sink"].load.on else []

    proved.record = prove_bench(
        made,
        "sink",
        pairs or pairs_of(made),
        operator="A. Keeper",
        at=AT,
        place=place,
        ready=lambda output, lead: ready,
    )
    return proved


def found(proved: Proved) -> list[ProofLine]:
    return [*proved.record.found]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_bench_that_is_right_passes(seed: int) -> None:
    """Every true figure lies within its bounds, wherever it was drawn."""
    proved = prove(seed=seed)
    assert found(proved) == []
    assert proved.record.passed
    assert proved.on == []
    assert [(stage.output, stage.lead) for stage in proved.record.stages] == [
        (OutputName("left.1"), SILICONE),
        (OutputName("left.2"), THIN),
        (OutputName("right.1"), SILICONE),
    ]
    assert proved.record.due == dt.date(2027, 11, 29)
    assert proved.record.simulated
    assert proved.record.proofs == ()  # twins prove nothing of real ones
    for stage in proved.record.stages:
        what = {line.what for line in stage.lines if line.passed}
        assert what >= {
            "nothing else connected",
            "level",
            "drop along the lead",
            "remote sense",
            "current limit",
            "response",
            "trip delay",
            *(f"provoked: {name}" for name in (*ALWAYS, *SLEWS, "OVP", "current limit")),
        }


@pytest.mark.parametrize("output", [LEFT, RIGHT])
@pytest.mark.parametrize("gain", ["=0.006", "=-0.006"])
def test_a_drifted_reading_is_named(output: OutputName, gain: str) -> None:
    proved = prove((output, SILICONE), overrides={f"{output}.reading.voltage.gain": gain})
    lines = found(proved)
    assert {"level"} <= {line.what for line in lines} <= {"level", "remote sense"}
    # At 3 V the set point's own bound leaves open which of two it is; at the others it is named.
    named = [line for line in lines if line.why.startswith(f"reading of {output} is off by")]
    assert len([line for line in named if line.what == "level"]) >= 2
    assert all(f"reading of {output}" in line.why for line in lines)
    assert proved.on == []


def test_a_set_point_a_limit_and_a_load_that_drifted_are_named_too() -> None:
    for name, value, what, why in (
        ("left.1.programming.voltage.gain", "=0.006", "level", "set point of left.1 is off by"),
        ("left.1.programming.current.gain", "=0.02", "current limit", "current limit of left.1 is off by"),
        ("left.1.reading.current.gain", "=0.02", "current limit", "reading of left.1 is off by"),
        ("sink.reading.voltage.gain", "=0.006", "level", "reading of sink is off by"),
    ):
        lines = found(prove((LEFT, SILICONE), overrides={name: value}))
        assert lines, name
        assert any(line.what == what and line.why.startswith(why) for line in lines), (name, lines)


@pytest.mark.parametrize(("output", "factor"), [(LEFT, "x2"), (RIGHT, "x1.4"), (LEFT, "x0.5")])
def test_a_trip_at_another_time_is_named(output: OutputName, factor: str) -> None:
    proved = prove((output, THIN), overrides={f"{output}.trip_delay": factor})
    (line,) = found(proved)
    assert line.what == "trip delay"
    late = float(factor[1:]) > 1.0
    assert says(line.why, str(output), "trips after", "later than" if late else "sooner than")
    (took,) = line.figures
    assert took.value == pytest.approx(0.2 * float(factor[1:]), abs=3e-3)
    assert proved.on == []


@pytest.mark.parametrize(("lead", "output"), [(SILICONE, LEFT), (THIN, RIGHT), (THIN, LEFT)])
def test_a_lead_with_50_milliohms_too_much_is_named(lead: str, output: OutputName) -> None:
    from railwright.circuit.leads import lead_resistance

    bench = bench_with_load()
    most = lead_resistance(bench.leads[lead], bench).high
    proved = prove((output, lead), overrides={f"{lead}.lead.resistance": f"={most + 0.05}"})
    (line,) = found(proved)
    assert line.what == "drop along the lead"
    (figure,) = line.figures
    assert figure.bound is not None
    assert figure.value == pytest.approx(most + 0.05, abs=figure.bound)
    assert says(line.why, lead, "more than the bench's most")
    # One within its bounds passes, at both ends of them.
    for inside in (most - 1e-4, lead_resistance(bench.leads[lead], bench).low + 1e-4):
        assert found(prove((output, lead), overrides={f"{lead}.lead.resistance": f"={inside}"})) == []


@pytest.mark.parametrize(("output", "lead"), [(LEFT, SILICONE), (RIGHT, THIN)])
def test_an_exchanged_sense_pair_is_named_and_ended_by_the_ovp(output: OutputName, lead: str) -> None:
    proved = prove((output, lead), faults=[TwinFault("sense reversed", (lead,))])
    (line,) = found(proved)
    assert line.what == "remote sense"
    assert says(line.why, f"sense leads of {output}", "exchanged with each other", "OVP ended it")
    # Higher than it rose for the levels it has not gone: those are 0.9 of 0.9 of its range.
    assert proved.highest[output] < 0.9 * bench_with_load().output(output).voltage.high + 1.0
    assert proved.on == []


@pytest.mark.parametrize("kind", ["sense open", "sense shorted"])
def test_other_faults_of_sense_leads_are_found(kind: str) -> None:
    (line,) = found(prove((LEFT, SILICONE), faults=[TwinFault(kind, (SILICONE,))]))
    assert line.what == "remote sense"
    assert says(line.why, "sense leads of left.1")


@pytest.mark.parametrize("output", [LEFT, RIGHT])
def test_an_ovp_that_does_not_act_is_named_and_no_sense_lead_is_tried(output: OutputName) -> None:
    proved = prove((output, SILICONE), overrides={f"{output}.ovp": "=100"})
    (line,) = found(proved)
    assert line.what == "provoked: OVP"
    assert says(line.why, f"OVP of {output} does not act")
    (unjudged,) = (each for each in proved.record.stages[0].lines if each.passed is None)
    assert unjudged.what == "remote sense"
    assert proved.on == []


def test_an_ovp_is_provoked_by_its_level_never_by_the_voltage() -> None:
    """The highest voltage that is ever there is the highest level that is looked at."""
    proved = prove((LEFT, SILICONE))
    assert proved.highest[LEFT] == pytest.approx(0.81 * 36.0, rel=0.01)


def test_all_five_at_once_are_five_findings() -> None:
    proved = prove(
        (LEFT, SILICONE),
        (OutputName("left.2"), THIN),
        (RIGHT, SILICONE),
        overrides={
            "left.1.reading.voltage.gain": "=0.006",
            "left.2.trip_delay": "x2",
            "silicone pair.lead.resistance": "=0.1223",
            "right.1.ovp": "=100",
        },
        faults=[TwinFault("sense reversed", (THIN,))],
    )
    first, second, third = ({line.what for line in stage.found} for stage in proved.record.stages)
    assert first == {"level", "drop along the lead", "remote sense"}
    assert second == {"remote sense", "trip delay"}
    assert third == {"provoked: OVP", "drop along the lead"}
    assert not proved.record.passed
    assert proved.on == []


def test_a_device_that_is_still_connected_ends_it_at_once() -> None:
    """A resistor beside the load draws with the load off."""

    def leave_a_resistor(network: VirtualNetwork) -> None:
        network.servers["left"].supply.plant._simulation.change_lead(SILICONE, short=40.0)

    proved = prove((LEFT, SILICONE), meddle=leave_a_resistor)
    (line,) = proved.record.stages[0].lines
    assert line.passed is False
    assert says(line.why, "flow with the load off", "unplug the device")
    assert proved.highest[LEFT] < 3.5
    assert proved.on == []


def test_a_lead_that_does_not_lead_to_the_load_ends_it_at_once() -> None:
    proved = prove((LEFT, SILICONE), connected=False)
    *_, line = proved.record.stages[0].lines
    assert line.passed is False
    assert says(line.why, SILICONE, "not connected to the load")
    assert len(proved.record.stages[0].lines) == 2


@pytest.mark.parametrize(("lead", "output"), [(SILICONE, LEFT), (THIN, RIGHT)])
def test_a_lead_that_is_reversed_at_the_load_is_named(lead: str, output: OutputName) -> None:
    """The load's transistors conduct backwards through their diode: some 0.7 V, with the load off."""
    proved = prove((output, lead), faults=[TwinFault("reversed", (lead,))])
    (line,) = found(proved)
    assert line.what == "lead to the load"
    assert says(line.why, lead, "reversed at the load")
    assert -0.8 < line.figures[-1].value < -0.4
    assert len(proved.record.stages[0].lines) == 1
    assert proved.highest[output] < 3.5
    assert proved.on == []


def test_a_lead_that_is_open_or_shorted_is_still_named_otherwise() -> None:
    (opened,) = found(prove((LEFT, SILICONE), faults=[TwinFault("open", (SILICONE,))]))
    assert says(opened.why, SILICONE, "not connected to the load")
    (shorted,) = found(prove((LEFT, SILICONE), faults=[TwinFault("short", (SILICONE,))]))
    assert says(shorted.why, "flow with the load off")


def test_nothing_is_said_to_anything_before_somebody_says_that_it_is_unplugged() -> None:
    with pytest.raises(NotReady, match="nothing was switched on"):
        prove(ready=False)


def test_an_output_that_is_on_is_left_alone() -> None:
    def switch_on(network: VirtualNetwork) -> None:
        network.servers["left"].supply.switch(1, True)

    with pytest.raises(InstrumentError, match="got 2 on"):
        prove((LEFT, SILICONE), meddle=switch_on)


def test_a_supply_that_is_lost_is_told_as_not_confirmed_off() -> None:
    def lose(network: VirtualNetwork) -> None:
        async def soon() -> None:
            import asyncio

            await asyncio.sleep(1.0)
            network.servers["left"].refuse(True)
            network.servers["left"].drop("reset")

        network.loop.create_task(soon())

    proved = prove((LEFT, SILICONE), meddle=lose)
    (stage,) = proved.record.stages
    assert any("ended early" in line.why for line in stage.found)
    assert "left.1" in stage.not_confirmed
    assert not proved.record.passed
    assert "sink" not in proved.on


def test_outputs_and_leads_are_paired_so_that_none_is_left_out() -> None:
    bench = bench_with_load()
    pairs = pairs_of(bench)
    assert {output for output, _ in pairs} == set(bench.output_names)
    assert {lead for _, lead in pairs} == set(bench.leads)
    assert pairs_of(bench, [(LEFT, THIN)]) == ((LEFT, THIN),)


def test_real_instruments_prove_the_dialect(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("railwright.instruments.supply.TWIN_MAKER", "Nobody")
    record = prove((LEFT, SILICONE)).record
    assert not record.simulated
    assert {proof.provoked for proof in record.proofs} == {*ALWAYS, *SLEWS, "OVP", "current limit"}
    assert {(proof.channel, proof.how, proof.by) for proof in record.proofs} == {(1, "prove", "A. Keeper")}


# The command


@pytest.fixture
def bench_file(tmp_path: Path) -> Path:
    text = (EXAMPLE / BENCH).read_text("utf-8")
    path = tmp_path / BENCH
    path.write_text(f"{text}\nelectronic_loads: {json.dumps({'sink': LOAD})}\n", "utf-8")
    return path


def call(*arguments: object) -> Result:
    return CliRunner().invoke(app, ["prove", *(str(each) for each in arguments)])


def test_the_command_writes_the_page(bench_file: Path) -> None:
    result = call(bench_file, "--operator", "A. Keeper", "--twins", "--json", "--through", f"left.1 {THIN}")
    assert result.exit_code == 0, result.stderr
    data = json.loads(result.stdout)
    assert data["passed"] is True
    assert (data["stages"][0]["output"], data["stages"][0]["lead"]) == ("left.1", THIN)
    page = Path(data["page"])
    assert page == bench_file.with_name("quay.proof.pdf")
    assert page.read_bytes().startswith(b"%PDF-")
    assert data["kept"] is None


@pytest.mark.parametrize("power", ["150 W", "0.3 kW"])
def test_a_load_may_have_a_largest_power(bench_file: Path, power: str) -> None:
    text = (EXAMPLE / BENCH).read_text("utf-8")
    load = json.dumps({"sink": {**LOAD, "power": power}})
    bench_file.write_text(f"{text}\nelectronic_loads: {load}\n", "utf-8")
    result = call(bench_file, "--operator", "A. Keeper", "--twins", "--json", "--through", f"left.1 {THIN}")
    assert result.exit_code == 0, result.stderr
    assert load_of(power=power).as_output.power == pytest.approx(150.0 if power == "150 W" else 300.0)


def test_the_command_says_what_it_found(bench_file: Path) -> None:
    options = ["--twins", "--through", f"left.1 {THIN}", "--true", "left.1.trip_delay=x2"]
    result = call(bench_file, "--operator", "A. Keeper", *options)
    assert result.exit_code == 1
    assert says(result.stdout, "left.1 through 'thin pair'", "1 found", "trip delay", "its trip is slow")


def test_what_is_not_judged_has_an_exit_code_of_its_own(bench_file: Path) -> None:
    load = {key: value for key, value in LOAD.items() if key != "reading"}
    text = (EXAMPLE / BENCH).read_text("utf-8")
    bench_file.write_text(f"{text}\nelectronic_loads: {json.dumps({'sink': load})}\n", "utf-8")
    result = call(bench_file, "--operator", "A. Keeper", "--twins", "--json", "--through", f"left.1 {THIN}")
    assert result.exit_code == 5, result.stderr
    lines = json.loads(result.stdout)["stages"][0]["lines"]
    assert {line["what"] for line in lines if line["passed"] is None} == {"drop along the lead"}
    # What is set and what the output reads are still compared with each other.
    assert all(line["passed"] for line in lines if line["what"] == "level")


@pytest.mark.parametrize(
    ("options", "code", "told"),
    [
        (["--operator", " "], 2, "--operator: expected a text that is not blank"),
        (["--operator", "A", "--true", "a=1"], 2, "--true, --fault: expected --twins beside them"),
        (["--operator", "A", "--to", "a.txt"], 2, "--to: expected a file that ends in .pdf, got 'a.txt'"),
        (
            ["--operator", "A", "--load", "other"],
            2,
            "--load: expected one of the bench's electronic",
        ),
        (
            ["--operator", "A", "--through", "left.9 thin pair"],
            2,
            "--through: expected an output of the",
        ),
        (["--operator", "A", "--through", "left.1 a rope"], 2, "--through: expected a lead of the bench"),
        (["--operator", "A", "--twins", "--fault", "short aux"], 2, "--fault: expected one lead"),
        (["--operator", "A", "--twins", "--fault", "probe off thin pair"], 2, "--fault: expected one of"),
        (["--operator", "A", "--twins", "--fault", "contact stuck thin pair"], 2, "--fault: expected one of"),
        (
            ["--operator", "A", "--twins", "--fault", "exchanged thin pair silicone pair"],
            2,
            "--fault: expected one of",
        ),
        (
            ["--operator", "A", "--twins", "--through", "left.1 thin pair", "--fault", "open silicone pair"],
            2,
            "--fault: expected one lead that is proved (thin pair)",
        ),
        (["--operator", "A", "--twins", "--true", "left.1.colour=1"], 2, "there is no true parameter"),
        (["--operator", "A"], 3, "nobody has said that the device is unplugged"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(
    bench_file: Path, options: list[str], code: int, told: str
) -> None:
    result = call(bench_file, *options)
    assert result.exit_code == code
    assert told in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
    assert not bench_file.with_name("quay.proof.pdf").exists()


@pytest.mark.parametrize(
    ("outputs", "text", "pair"),
    [
        (("bench supply.1", "left.1"), "bench supply.1 red and black", ("bench supply.1", "red and black")),
        (("left.a", "left.a b"), "left.a b c", ("left.a b", "c")),
        (("left.a", "left.a b"), " left.a  c ", ("left.a", "c")),
        (("left.a", "left.a b"), "left.a bc", ("left.a", "bc")),
    ],
)
def test_an_output_is_named_whose_name_has_a_blank(
    outputs: tuple[str, ...], text: str, pair: tuple[str, str]
) -> None:
    from railwright.cli.prove import _pairs

    leads = dict.fromkeys(("red and black", "b", "c", "bc"))
    bench = Bench.model_construct(
        supplies={
            supply: SimpleNamespace(
                outputs=dict.fromkeys(n.output for n in map(OutputName, outputs) if n.supply == supply)
            )
            for supply in {OutputName(name).supply for name in outputs}
        },
        leads=leads,
    )
    assert _pairs(bench, [text]) == ((OutputName(pair[0]), pair[1]),)


def test_a_bench_without_a_load_is_told(tmp_path: Path) -> None:
    path = tmp_path / BENCH
    path.write_text((EXAMPLE / BENCH).read_text("utf-8"), "utf-8")
    result = call(path, "--operator", "A. Keeper", "--twins")
    assert result.exit_code == 2
    assert result.stderr.startswith(f"{path}:1:1: expected 'electronic_loads', got none")


@pytest.mark.parametrize("name", dialect_names())
def test_every_dialect_proves_a_bench_that_is_right(name: str) -> None:
    """What a dialect cannot set is not judged, and nothing that it can is found."""
    dialect, bench = load_dialect(name), bench_with_load()
    left = bench.supplies["left"]
    outputs = {"1": left.outputs["1"]} if dialect.addressing == "none" else dict(left.outputs)
    spoken = left.model_copy(update={"dialect": dialect, "outputs": outputs})
    made = bench.model_copy(update={"supplies": {**bench.supplies, "left": spoken}})
    proved = prove((LEFT, SILICONE), bench=made)
    assert found(proved) == []
    assert proved.on == []
    (stage,) = proved.record.stages
    unjudged = {line.what for line in stage.lines if line.passed is None}
    provoked = {
        line.what.removeprefix("provoked: ") for line in stage.lines if line.what.startswith("provoked")
    }
    # That bench has neither, and one output alone is looked at.
    can = {each for each in provokable(dialect) if each not in ("OPP", "OCP", "linked")}
    assert provoked == can
    senses = dialect.can_set("sense")
    assert unjudged == ({"remote sense"} if senses and "OVP" not in can else set())
    assert ("remote sense" in {line.what for line in stage.lines}) is senses

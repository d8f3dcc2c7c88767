"""Loading: what documents become, and where things stand in them."""

from __future__ import annotations

import math
import pickle
import subprocess
import sys
from pathlib import Path

import pytest
from tests.bench import BENCH, DEVICE, EXAMPLE, PROCEDURE, copy_demo, edit

from railwright.dialects.files import dialect_names
from railwright.documents.loader import Documents, load_bench, load_device, load_documents
from railwright.documents.output_name import OutputName
from railwright.documents.sources import DocumentErrors, Location


def errors(path: Path | str) -> list[str]:
    with pytest.raises(DocumentErrors) as caught:
        load_documents(path)
    return str(caught.value).splitlines()


def test_the_demo_in_si_units():
    documents = load_documents(EXAMPLE / PROCEDURE)
    main = documents.device.inputs["main"]
    assert main.nominal == 12.0
    assert (main.operating.low, main.operating.high) == (9.0, 16.0)
    capacitor = main.load[0].parameters
    assert main.load[0].kind == "capacitor"
    assert capacitor.uncertain()["capacitance"].low == pytest.approx(800e-6)
    assert documents.procedure.limits["main"].trip_delay == 0.04
    assert documents.procedure.limits["transducer"].ovp == "auto"
    assert documents.bench.output(OutputName("left.1")).reading.update == 0.01
    assert documents.bench.supplies["left"].calibrated.due.year == 2027
    assert documents.paths["bench"] == EXAMPLE / BENCH
    assert documents.sources["device"].content == (EXAMPLE / DEVICE).read_bytes()


FIXTURES = """
fixtures:
  guard:
    fuse: {curve: [{current: 1 A, time: 10 s}, {current: 4 A, time: 100 ms}], resistance: 60 mohm ± 20 %}
    diode: {drop: 0.6 V .. 0.8 V, at: 1 A, resistance: 100 mohm}
    switch: {resistance: 10 mohm}
    capacitor: {capacitance: 470 uF ± 20 %, esr: 30 mohm}
  relay: {switch: {starts: open}}

leads:"""


def with_more(folder: Path) -> Path:
    """The demo with fixtures, protections of their own and coupled outputs."""
    path = copy_demo(folder)
    edit(folder / BENCH, "\nleads:", FIXTURES)
    edit(folder / BENCH, "at: terminals}", "at: terminals, crowbar: true}")
    edit(
        folder / BENCH,
        "        trip_delay:",
        "        opp: {level: 1 W .. 66 W, response: 2 ms}\n        trip_delay:",
    )
    edit(
        folder / BENCH,
        "        trip_delay:",
        "        ocp: {level: 0 A .. 2.75 A, delay: 0 s .. 1 s}\n        trip_delay:",
    )
    edit(folder / BENCH, "    isolation:", "    coupled: [{outputs: [1, 2], by: ratio}]\n    isolation:")
    edit(path, "lead: silicone pair,", "lead: silicone pair, fixture: guard,")
    edit(
        path,
        "    trip_delay: 40 ms\n",
        "    trip_delay: 40 ms\n    opp: 30 W\n    ocp: 800 mA\n    ocp_delay: 60 ms\n",
    )
    return path


def test_fixtures_protections_and_couplings_in_si_units(tmp_path):
    documents = load_documents(with_more(tmp_path))
    hook_up, limits = documents.procedure.hook_up, documents.procedure.limits["main"]
    guard = documents.bench.fixture(hook_up["main"].fixture)
    assert guard.parts == ("fuse", "switch", "diode", "capacitor")
    assert (guard.resistance.low, guard.resistance.nominal, guard.resistance.high) == pytest.approx(
        (0.158, 0.17, 0.182)
    )
    # Half a volt to 0.7 V are left where 0.1 V of the drop at 1 A is the resistance's.
    assert (guard.drop.low, guard.drop.high) == pytest.approx((0.5, 0.7))
    assert (guard.unknown, guard.opened) == ((), False)
    relay = documents.bench.fixtures["relay"]
    assert (relay.unknown, relay.opened, relay.drop.nominal) == (("switch",), True, 0.0)
    assert documents.bench.fixture(hook_up["transducer"].fixture) is None
    output = documents.bench.output(OutputName("left.2"))
    assert (output.ovp.crowbar, output.opp.response, output.ocp.delay.high) == ("true", 2e-3, 1.0)
    assert (limits.opp, limits.ocp, limits.ocp_delay) == (30.0, 0.8, 0.06)
    (group,) = documents.bench.supplies["left"].coupled
    assert (group.outputs, group.by) == (("1", "2"), "ratio")


def test_an_output_may_be_in_one_group_of_voltages_and_in_one_of_limits(tmp_path):
    path = copy_demo(tmp_path)
    groups = "[{outputs: [1, 2], by: step}, {outputs: [2, 1], by: ratio, of: current_limit}]"
    edit(tmp_path / BENCH, "    isolation:", f"    coupled: {groups}\n    isolation:")
    voltages, limits = load_documents(path).bench.supplies["left"].coupled
    assert [(each.of, each.by) for each in (voltages, limits)] == [
        ("voltage", "step"),
        ("current_limit", "ratio"),
    ]


@pytest.mark.parametrize(
    ("current", "seconds"),
    [(0.5, math.inf), (1.0, math.inf), (2.0, 1.0), (4.0, 0.1), (40.0, 0.1 * 10.0 ** -(1 / math.log10(2)))],
)
def test_a_fuse_s_time_lies_on_straight_lines_of_its_logarithms(tmp_path, current, seconds):
    fuse = load_bench(with_more(tmp_path).parent / BENCH).model.fixtures["guard"].fuse
    assert fuse.opens_after(current) == pytest.approx(seconds, rel=1e-12)


@pytest.mark.parametrize(("written", "ohms"), [("true", "true"), ("80 mohm", 0.08)])
def test_a_crowbar_is_there_or_has_a_resistance(tmp_path, written, ohms):
    path = with_more(tmp_path)
    edit(tmp_path / BENCH, "crowbar: true", f"crowbar: {written}")
    assert load_documents(path).bench.output(OutputName("left.1")).ovp.crowbar == ohms


def line_of(name: str, text: str) -> int:
    lines = (EXAMPLE / name).read_text(encoding="utf-8").splitlines()
    return next(number for number, line in enumerate(lines, 1) if text in line)


@pytest.mark.parametrize(
    ("document", "path", "text"),
    [
        ("procedure", ("limits", "main", "ovp"), "ovp: 18 V"),
        ("procedure", ("limits", "main"), "  main:"),
        ("procedure", ("limits", "main", "nothing", "here"), "  main:"),
        ("procedure", ("steps", 2, "sweep", "points"), "points: 8"),
        ("procedure", ("steps", 99), "steps:"),
        ("device", ("inputs", "main", "withstands", 1), "26 V, for: 1 s"),
        ("device", ("inputs", "main", "load", 1, "converter", "stops_at"), "stops_at"),
        ("bench", ("supplies", "left", "outputs", "2"), "same_as: 1"),
        ("bench", ("supplies", "left", "outputs", "2", "power"), "power: 60 W"),
        ("bench", (), "bench: Quay bench"),
    ],
)
def test_where_something_stands(document, path, text):
    documents = load_documents(EXAMPLE / PROCEDURE)
    name = {"procedure": PROCEDURE, "device": DEVICE, "bench": BENCH}[document]
    if path == ("limits", "main", "nothing", "here") or path == ("limits", "main"):
        expected = line_of(PROCEDURE, "limits:") + 1
    else:
        expected = line_of(name, text)
    assert documents.where(document, path).line == expected


def test_a_scalar_stands_where_it_is_and_a_mapping_where_its_key_is():
    documents = load_documents(EXAMPLE / PROCEDURE)
    assert documents.where("device", ("inputs", "main", "nominal")).column == 14
    assert documents.where("device", ("inputs", "main", "load")).column == 5


def test_paths_are_called_as_the_user_called_them(tmp_path, monkeypatch):
    (tmp_path / "station").mkdir()
    copy_demo(tmp_path / "station")
    edit(tmp_path / "station" / BENCH, "location: wet", "location: damp")
    monkeypatch.chdir(tmp_path)
    assert errors(f"station/{PROCEDURE}")[0].startswith(f"station/{BENCH}:4:11: ")
    monkeypatch.chdir(tmp_path / "station")
    assert errors(f"./{PROCEDURE}")[0].startswith(f"./{BENCH}:4:11: ")


def test_documents_made_in_code_stand_at_the_first_line():
    loaded = load_documents(EXAMPLE / PROCEDURE)
    made = Documents(loaded.device, loaded.bench, loaded.procedure)
    assert made.where("bench", ("supplies",)) == Location("bench", 1, 1)
    assert made.paths == {}


def test_documents_can_be_sent_to_another_process():
    documents = load_documents(EXAMPLE / PROCEDURE)
    again = pickle.loads(pickle.dumps(documents))
    assert again.procedure == documents.procedure
    assert again.device == documents.device
    assert again.bench == documents.bench


def test_a_bench_and_a_device_alone():
    bench = load_bench(EXAMPLE / BENCH)
    assert list(bench.model.supplies) == ["left", "right"]
    assert bench.where(("supplies", "right", "address")).line == line_of(BENCH, "5026")
    assert load_device(EXAMPLE / DEVICE).model.revision == "C2"


def test_same_as_takes_every_key_and_keeps_its_own(tmp_path):
    path = copy_demo(tmp_path)
    edit(tmp_path / BENCH, "{same_as: 1}", "{same_as: 1, power: 30 W}\n      3: {same_as: 2}")
    right = "      1:\n        voltage: 0 V .. 32 V"
    edit(tmp_path / BENCH, right, f"      9: {{same_as: left.3}}\n{right}")
    bench = load_documents(path).bench
    assert bench.output(OutputName("left.1")).power == 60.0
    assert bench.output(OutputName("left.2")).power == 30.0
    assert (
        bench.output(OutputName("left.3"))
        == bench.output(OutputName("left.2"))
        == bench.output(OutputName("right.9"))
    )
    assert bench.output(OutputName("left.2")).voltage == bench.output(OutputName("left.1")).voltage


def test_a_circle_of_same_as_is_said_once_without_what_is_missing(tmp_path):
    path = copy_demo(tmp_path)
    edit(tmp_path / BENCH, "{same_as: 1}", "{same_as: 3}\n      3: {same_as: 4}\n      4: {same_as: 2}")
    lines = errors(path)
    assert len(lines) == 1
    assert lines[0].endswith("got left.2 -> left.3 -> left.4 -> left.2")


def test_a_mistake_in_a_shared_output_is_said_once(tmp_path):
    path = copy_demo(tmp_path)
    edit(tmp_path / BENCH, "power: 60 W", "power: 60 A")
    assert len(errors(path)) == 1


def test_scalars_are_what_is_written_and_not_what_they_look_like(tmp_path):
    path = copy_demo(tmp_path)
    edit(tmp_path / BENCH, "serial: Q-0117", "serial: 00117")
    edit(tmp_path / BENCH, "model: QS-362", "model: on")
    edit(tmp_path / DEVICE, "revision: C2", "revision: 2026-03-02")
    documents = load_documents(path)
    assert documents.bench.supplies["left"].serial == "00117"
    assert documents.bench.supplies["left"].model == "on"
    assert documents.device.revision == "2026-03-02"


def test_short_form_of_a_load(tmp_path):
    path = copy_demo(tmp_path)
    edit(tmp_path / DEVICE, "- capacitor: {capacitance: 10 uF ± 20 %, esr: 200 mohm}", "- capacitor: 10 uF")
    parameters = load_documents(path).device.inputs["transducer"].load[1].parameters
    assert parameters.uncertain()["capacitance"].nominal == pytest.approx(10e-6)


def test_an_alias_stands_for_what_it_names(tmp_path):
    path = copy_demo(tmp_path)
    edit(tmp_path / BENCH, "rise: 12 ms ", "rise: &rise 12 ms ")
    edit(tmp_path / BENCH, "        rise: 12 ms\n", "        rise: *rise\n")
    assert load_documents(path).bench.output(OutputName("right.1")).rise == 0.012


def test_each_dialect_that_there_is_can_be_named(tmp_path):
    assert {"channel-list", "selected-output"} <= set(dialect_names())
    for dialect in dialect_names():
        copy_demo(tmp_path)
        edit(tmp_path / BENCH, "dialect: channel-list", f"dialect: {dialect}")
        assert load_bench(tmp_path / BENCH).model.supplies["left"].dialect.name == dialect


def test_keys_are_those_of_documents_and_not_of_the_program(tmp_path):
    path = copy_demo(tmp_path)
    edit(tmp_path / PROCEDURE, "from: 9 V, to: 16 V", "start: 9 V, stop: 16 V")
    messages = [line.split(": ", 1)[1] for line in errors(path)]
    assert "expected a key 'from' here, got none; add it, such as 'from: 12 V'" in messages
    assert "unknown key 'start'; expected one of input, from, to, points, dwell" in messages


@pytest.mark.slow
def test_loading_waits_for_no_heavy_library():
    code = (
        "import sys; from railwright.documents.loader import load_documents; load_documents(sys.argv[1]);"
        "print(sorted({'numpy', 'pint', 'numba', 'scipy', 'matplotlib', 'pyarrow'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(EXAMPLE / PROCEDURE)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"

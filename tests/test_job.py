"""The front door: a job opened, changed, checked, rehearsed, run, judged and reported."""

from __future__ import annotations

import copy
import pickle
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet
from tests.bench import copy_demo, replaced
from tests.said import says

import railwright as rw
from railwright import job as jobs
from railwright.documents.edit import NotEdited
from railwright.documents.sources import DocumentErrors
from railwright.examples import example
from railwright.frames import NotInstalled
from railwright.recordings.errors import RecordingError
from railwright.settings.findings import tally
from railwright.traces import Mode

PROCEDURE = example() / "power-input.procedure.yaml"
RAIL = "time_s,U_V\n" + "".join(f"{n / 1000},{12 - n % 2}\n" for n in range(500))


@pytest.fixture(scope="module")
def job() -> rw.Job:
    return rw.open(PROCEDURE)


@pytest.fixture(scope="module")
def run(job: rw.Job, tmp_path_factory: pytest.TempPathFactory) -> rw.Run:
    folder = tmp_path_factory.mktemp("runs") / "one"
    return job.check().run(unit="S-1", operator="A. Keeper", folder=folder, twins=True)


def test_a_job_whose_rise_is_worked_out_has_a_timeline_and_waveforms(job: rw.Job) -> None:
    made = job.edit("steps.0.power_up.rise", "auto")
    assert {shape.span.name for shape in made.waveform("brown-out")} == {"brown-out"}
    with pytest.raises(ValueError, match="expected one of the procedure's steps"):
        made.waveform("nope")
    assert [span.name for span in made.timeline.spans] == [span.name for span in job.timeline.spans]
    assert "brown-out" in made._repr_html_()


def test_importing_it_loads_neither_numpy_nor_pydantic() -> None:
    code = "import sys, railwright; print([m for m in ('numpy', 'pydantic', 'numba') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_what_is_not_there_is_no_attribute() -> None:
    with pytest.raises(AttributeError, match="no attribute 'opne'"):
        rw.opne  # noqa: B018


def test_a_check_says_what_the_command_says(job: rw.Job) -> None:
    check = job.check()
    assert not check.blocked
    assert set(check.settings.set_points) == {"main", "transducer"}
    assert {finding.severity for finding in check.findings} <= {"caution", "note"}
    assert check.measurable
    # What was worked out for the same content is kept.
    assert rw.open(PROCEDURE).check().checked is check.checked


def test_a_rehearsal_is_a_mapping_of_inputs(job: rw.Job) -> None:
    rehearsal = job.rehearse()
    assert list(rehearsal) == ["main", "transducer"]
    main = rehearsal["main"]
    assert main.time.shape == main.voltage.shape == main.current.shape
    assert main.result is not None
    assert main.result.peak_current == pytest.approx(float(main.current.max()))
    assert len(main.plot().axes) == 2
    assert rehearsal.evaluation.outcome in ("pass", "fail", "inconclusive")
    assert {shape.span.name for shape in job.waveform("brown-out")} == {"brown-out"}


def test_frames_hold_what_the_record_holds(job: rw.Job) -> None:
    rehearsal = job.rehearse()
    frame, dataset = rehearsal.to_dataframe(), rehearsal.to_xarray()
    assert frame.index.names == ["input", "time"]
    assert np.array_equal(frame.loc["main"]["current"].to_numpy(), rehearsal["main"].current)
    assert np.array_equal(dataset["main_current"].to_numpy(), rehearsal["main"].current)
    assert dataset["main_voltage"].attrs["units"] == "V"
    one = rehearsal["transducer"].to_dataframe()
    assert one.index.name == "time"


def test_modes_in_a_frame_are_words(job: rw.Job) -> None:
    words = {Mode.OFF: "off", Mode.CV: "CV", Mode.CC: "CC", Mode.CP: "CP", Mode.TRIPPED: "tripped"}
    record = job.edit("limits.main.ovp", "11 V").rehearse()
    frame, dataset = record.to_dataframe(), record.to_xarray()
    for name, traces in record.items():
        modes = traces.traces.columns["mode"]
        assert list(frame.loc[name]["mode"]) == [words[Mode(int(each))] for each in modes]
        assert np.array_equal(dataset[f"{name}_mode"].to_numpy(), modes)
        told = dataset[f"{name}_mode"].attrs
        assert dict(zip(told["flag_values"], told["flag_meanings"].split(), strict=True)) == words
    assert set(frame["mode"]) >= {"off", "CV"}
    assert list(frame["mode"].cat.categories) == list(words.values())


def test_only_what_there_is_to_use_is_listed() -> None:
    assert set(dir(rw)) == set(rw.__all__)


@pytest.mark.parametrize("library", ["pandas", "xarray"])
def test_a_missing_library_is_one_line(job: rw.Job, monkeypatch: pytest.MonkeyPatch, library: str) -> None:
    monkeypatch.setitem(sys.modules, library, None)
    rehearsal = job.rehearse()
    with pytest.raises(NotInstalled) as told:
        rehearsal.to_dataframe() if library == "pandas" else rehearsal.to_xarray()
    assert str(told.value) == (
        f"expected {library} for this, got none: install it with pip install 'railwright[frames]'"
    )


def test_an_edit_is_a_new_job_and_leaves_files_as_they_are(job: rw.Job, tmp_path: Path) -> None:
    before = PROCEDURE.read_bytes()
    changed = job.edit("limits.main.current_limit", "0.9 A")
    assert changed.documents.procedure.limits["main"].current_limit == 0.9
    assert job.documents.procedure.limits["main"].current_limit != 0.9
    assert PROCEDURE.read_bytes() == before
    assert changed.settle().settings.set_points["main"].outputs[0].current_limit == 0.9
    # Only the changed line differs, and what is saved is the changed job.
    saved = changed.save(tmp_path / "copy")
    assert saved.content == changed.content
    ours, theirs = before.decode().splitlines(), saved.path.read_text("utf-8").splitlines()
    different = [(a, b) for a, b in zip(ours, theirs, strict=True) if a != b]
    assert len(different) == 1
    assert different[0][1].endswith("0.9 A") or "0.9 A" in different[0][1]
    with pytest.raises(FileExistsError):
        changed.save(tmp_path / "copy")


def with_recording(folder: Path) -> Path:
    """The example's procedure in a folder of its own, with a step that plays the recording RAIL."""
    for document in PROCEDURE.parent.glob("*.yaml"):
        (folder / document.name).write_bytes(document.read_bytes())
    (folder / "rail.csv").write_text(RAIL)
    procedure = folder / PROCEDURE.name
    shape = "  - shape: {input: main, recording: rail.csv}\n    name: recorded\n  - power_down"
    text = procedure.read_text("utf-8").replace("  - power_down", shape, 1)
    procedure.write_text(text, "utf-8")
    return procedure


def test_a_recording_is_a_part_of_a_job(tmp_path: Path) -> None:
    """What it holds counts, and is saved; one that has changed since is refused, not taken instead."""
    procedure = with_recording(tmp_path)
    first, again = rw.open(procedure), rw.open(procedure)
    saved = first.save(tmp_path / "copy")
    assert (tmp_path / "copy" / "rail.csv").read_text() == RAIL
    assert first.content == again.content == saved.content
    (tmp_path / "rail.csv").write_text(RAIL.replace(",11", ",10"))
    assert rw.open(procedure).content != first.content
    with pytest.raises(RecordingError, match="expected a recording that stays as it is"):
        again.save(tmp_path / "other")
    with pytest.raises(RecordingError, match="expected a recording that stays as it is"):
        again.check().run(unit="S-1", operator="O", folder=tmp_path / "run", twins=True)
    assert not (tmp_path / "other").exists()
    assert not (tmp_path / "run").exists()


def test_a_run_is_evaluated_beside_a_recording(run: rw.Run, tmp_path: Path) -> None:
    """The supply's own readings as if a recorder of the bench had made them, as Parquet under other names."""
    run = rw.read_run(shutil.copytree(run.folder, tmp_path / "run"))
    main = run["main"]
    columns = {"t": main.time, "U": main.voltage, "I": main.current}
    parquet.write_table(pa.table(columns), tmp_path / "a.parquet")
    keys = "{time: t, channels: {main_voltage: {column: U, unit: V}, main_current: {column: I, unit: A}}}"
    judged = run.evaluate(tmp_path / "a.parquet", keys=keys)
    assert len(judged.evaluation.sources) == 2
    assert judged.evaluation.offsets[0] == pytest.approx(0.0, abs=0.02)
    with pytest.raises(RecordingError, match="a voltage or a current of an input"):
        run.evaluate(tmp_path / "a.parquet", keys="{time: t}")


def test_findings_are_counted_as_the_command_line_counts_them(job: rw.Job) -> None:
    """What was assumed is shown by itself."""
    check = job.check()
    told = [each for each in check.findings if each.rule != "assumed"]
    notes = sum(each.severity == "note" for each in told)
    assert len(told) < len(check.findings)
    assert f", {notes} note" in repr(check)
    assert tally(check.findings) in repr(check)
    assert tally(check.findings[:0]) == "0 stops, 0 cautions, 0 notes"


def test_what_is_not_there_is_told_with_what_there_is(run: rw.Run) -> None:
    with pytest.raises(KeyError, match=r"main, transducer\), got 'pump'"):
        run["pump"]
    assert "pump" not in run
    assert "main" in run


def test_an_edit_finds_the_document_by_its_first_key(job: rw.Job) -> None:
    assert job.edit("location", "dry").documents.bench.location == "dry"
    assert job.edit("revision", "Z9").documents.device.revision == "Z9"
    quick = job.edit(("supplies", "left", "exchange"), "5 ms")
    assert quick.documents.bench.supplies["left"].exchange == 5e-3
    assert job.edit("requires.0.name", "begin").documents.procedure.requires[0].name == "begin"


def test_an_edit_that_cannot_be_made_is_one_line(job: rw.Job) -> None:
    with pytest.raises(NotEdited, match=r"^limts\.main: expected one of "):
        job.edit("limts.main", "1 A")
    with pytest.raises(NotEdited, match=r"limits\.mian\.ovp: expected one of main, transducer, got 'mian'"):
        job.edit("limits.mian.ovp", "1 V")
    with pytest.raises(NotEdited, match="expected a single value there, got a block"):
        job.edit("steps", "none")
    with pytest.raises(DocumentErrors, match=r"power-input\.procedure\.yaml:\d+:\d+: "):
        job.edit("limits.main.current_limit", "0.9 V")
    for path in ("device.inputs.main.nominal", "bench.supplies.left", "procedure.x"):
        above = path.partition(".")[0]
        with pytest.raises(NotEdited, match=rf"nothing below '{above}'.*inputs\.main\.nominal"):
            job.edit(path, "26 V")
    with pytest.raises(NotEdited, match=r"expected one of 0 to \d+, got 'on'.*steps\.0\.hold"):
        job.edit("steps.on.power_up.gap", "5 s")
    for itself in ("&a [*a]", "&a {b: *a}", "&a [[*a]]", "!!binary abc"):  # no YAML of ours: a text
        assert job.edit("procedure", itself).documents.procedure.procedure == itself
    with pytest.raises(ValueError, match=r"^document: expected one of procedure, device, bench, got 'unit'"):
        job.edit("revision", "A", document="unit")  # type: ignore[arg-type]


def test_an_edit_adds_an_outermost_key_to_the_document_that_may_have_it(tmp_path: Path) -> None:
    procedure = copy_demo(tmp_path / "demo")
    job = rw.open(procedure)
    assert not job.edit("attended", False).documents.procedure.attended
    override = "[{finding: ovp-above-withstand, because: tested apart}]"
    added = job.edit("overrides", override)
    assert [each.finding for each in added.documents.procedure.overrides] == ["ovp-above-withstand"]
    meter = "{voltage: {range: 20 V, offset: 1 mV}, address: ASRL/dev/ttyS9::INSTR, "
    meter += "aperture: 20 ms, interval: 0.2 s}"
    metered = job.edit("multimeters", f"{{volts: {meter}}}", document="bench")
    metered = metered.edit("multimeters", "{volts: {of: main}}", document="procedure")
    # Both have 'multimeters.volts', and only one of them what is below it.
    assert (
        metered.edit("multimeters.volts.aperture", "10 ms").documents.bench.multimeters["volts"].aperture
        == 0.01
    )
    probed = metered.edit("multimeters.volts.of", "transducer").documents.procedure
    assert probed.multimeters["volts"].of == "transducer"
    assert (
        metered.edit("multimeters.volts.at", "terminals").documents.procedure.multimeters["volts"].at
        == "terminals"
    )
    assert metered.edit("multimeters.volts.serial", "7").documents.bench.multimeters["volts"].serial == "7"
    with pytest.raises(
        NotEdited, match=r"^multimeters: expected which document is meant.*procedure or bench"
    ):
        job.edit("multimeters", "{}")


def test_an_edit_reaches_a_name_that_two_documents_have(job: rw.Job) -> None:
    renamed = job.edit("device", "Other", document="device").edit("bench", "Pier", document="bench")
    assert (renamed.documents.device.device, renamed.documents.bench.bench) == ("Other", "Pier")
    assert renamed.documents.procedure.device == job.documents.procedure.device
    with pytest.raises(DocumentErrors, match="no such file"):
        job.edit("device", "Other")


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_an_edit_behind_a_block_of_text_stays_in_its_own_input(tmp_path: Path, line_end: str) -> None:
    procedure = copy_demo(tmp_path / "demo")
    held = "    ovp: 18 V\n    at_end:\n      stays_on: |\n        cools the sink\n"
    text = replaced(procedure.read_text("utf-8"), ("    ovp: 18 V\n", held))
    procedure.write_bytes(text.replace("\n", line_end).encode("utf-8-sig"))
    edited = rw.open(procedure).edit("limits.main.opp", "10 W")
    limits = edited.documents.procedure.limits
    assert (limits["main"].opp, limits["transducer"].opp) == (10.0, None)
    content = edited.documents.sources["procedure"].content
    assert content.replace(f"    opp: 10 W{line_end}".encode(), b"") == procedure.read_bytes()


def test_what_is_kept_of_equal_texts_is_not_of_another_folder(tmp_path: Path) -> None:
    """Places are those of the job that is asked, and its recording is the one that is played."""
    jobs_of = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        jobs_of.append(rw.open(with_recording(tmp_path / name)))
    first, second = jobs_of
    assert first.content == second.content
    mine, other = first.check(), second.check()
    for check, folder in ((mine, "one"), (other, "two")):
        places = {str(Path(finding.where.file).parent) for finding in check.findings if finding.where}
        assert places == {str(tmp_path / folder)}
    (tmp_path / "one" / "rail.csv").unlink()
    run = other.run(unit="S-1", operator="O", folder=tmp_path / "run", twins=True)
    assert run.completed
    # Written again with the same bytes: what was opened then is another file than what is opened now.
    (tmp_path / "two" / "rail.csv").unlink()
    again = rw.open(with_recording(tmp_path / "two"))
    assert again.content == other.job.content
    assert again.check().run(unit="S-1", operator="O", folder=tmp_path / "again", twins=True).completed


def test_an_override_of_no_finding_is_told_when_it_is_opened(job: rw.Job, tmp_path: Path) -> None:
    procedure = copy_demo(tmp_path / "demo")
    with procedure.open("a") as file:
        file.write("overrides:\n  - {finding: ovp-above-withstnd, because: tested apart}\n")
    with pytest.raises(DocumentErrors, match=r"power-input\.procedure\.yaml:\d+:\d+: .*ovp-above-withstand"):
        rw.open(procedure)
    with pytest.raises(DocumentErrors, match="id of a finding"):
        job.edit("overrides", "[{finding: nothing, because: tested apart}]")


def test_a_job_is_pickled_and_copied_with_its_documents(tmp_path: Path) -> None:
    first = rw.open(with_recording(tmp_path))
    first.settle()
    assert first.timeline
    for other in (pickle.loads(pickle.dumps(first)), copy.deepcopy(first)):
        assert other.content == first.content
        assert other.documents == first.documents
        assert other.settle().settings.set_points == first.settle().settings.set_points


def test_a_run_on_twins_is_read_judged_and_reported(run: rw.Run) -> None:
    assert run.completed
    assert run.off_confirmed
    assert run.outcome is not None
    assert run.outcome.completed
    judged = run.evaluate()
    assert list(judged.to_dataframe()["requirement"]) == [r.requirement for r in judged.results]
    with pytest.raises(KeyError, match=r"start-up time.*got 'nonsense'"):
        judged["nonsense"]
    again = rw.read_run(run.folder)
    assert again.outcome is None
    assert [each.outcome for each in again.evaluations] == [judged.outcome]
    assert again["main"].time.size == run["main"].time.size
    report = again.report(customer="A harbour")
    assert report.read_bytes().startswith(b"%PDF")


def test_what_a_run_says_of_itself_cannot_be_changed(run: rw.Run) -> None:
    data = rw.read_run(run.folder).stored.data
    for mapping in (data.about, data.settings, data.multimeters):
        with pytest.raises(TypeError, match="stays as it is"):
            mapping["unit"] = "another"  # type: ignore[index]


def test_what_only_a_recording_needs_is_not_taken_without_one(run: rw.Run) -> None:
    for given in ({"recorder": "oscilloscope"}, {"keys": "{time: t}"}):
        (name,) = given
        with pytest.raises(ValueError, match=f"^{name}: expected a recording"):
            run.evaluate(**given)
    with pytest.raises(TypeError, match=r"^keys: expected a text"):
        run.evaluate(keys=5)
    with pytest.raises(ValueError, match=r"^customer: expected a text"):
        run.report(customer="a\0b")


def test_a_recording_needs_a_recorder_of_the_bench(run: rw.Run, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="expected a recorder of the bench"):
        run.evaluate(tmp_path / "scope.csv", recorder="nobody's")


def test_a_finding_that_stops_blocks_the_run(job: rw.Job, tmp_path: Path) -> None:
    check = job.edit("limits.main.ovp", "11 V").check()
    assert check.blocked
    with pytest.raises(jobs.Blocked, match="ovp"):
        check.run(unit="S-1", operator="O", folder=tmp_path / "run", twins=True)
    assert not (tmp_path / "run").exists()


def test_what_a_notebook_shows_is_escaped(job: rw.Job) -> None:
    odd = job.edit("procedure", "<b>&</b>")
    assert "<b>&</b>" in repr(odd)
    assert "&lt;b&gt;&amp;&lt;/b&gt;" in odd._repr_html_()
    for shown in (job.check(), job.rehearse(), job.rehearse().evaluation):
        assert shown._repr_html_().startswith("<p>&lt;")
        assert "\n" not in repr(shown)


def test_a_case_that_there_is_not(job: rw.Job) -> None:
    with pytest.raises(ValueError, match=r"expected one of nominal, low, high, .*got 'middle'"):
        job.rehearse("middle")  # type: ignore[arg-type]
    assert job.rehearse("high").record.origin == "rehearsal"


def test_a_case_of_ones_own_is_asked_for_every_uncertain_quantity(job: rw.Job) -> None:
    asked: dict[str, rw.Uncertain] = {}

    def light(name: rw.QuantityName, value: rw.Uncertain) -> float:
        asked[name] = value
        return value.low if (name.of, name.field) == ("main", "capacitance") else value.nominal

    case: rw.Case = light
    main = job.rehearse(case)["main"]
    capacitance = asked["main.capacitor.capacitance"]
    assert isinstance(capacitance, rw.Uncertain)
    assert capacitance.low < capacitance.nominal
    assert {type(name) for name in asked} == {rw.QuantityName}
    # Q = C·U as far as nothing but the capacitor draws: the converter starts at 8.2 V or more.
    rows = slice(0, int(np.argmax(main.voltage >= 8.0)) + 1)
    charge = float(np.trapezoid(main.current[rows], main.time[rows]))
    assert charge == pytest.approx(capacitance.low * main.voltage[rows][-1], rel=0.03)
    with pytest.raises(TypeError, match="lambda name, value"):
        job.rehearse({"main.capacitor.capacitance": 1e-3})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("path", "meant"),
    [
        ("steps[4].shape.repeat", "steps.4.shape.repeat"),
        ("requires[1].at_most", "requires.1.at_most"),
        ("inputs.main.load[0].capacitor.capacitance", "inputs.main.load.0.capacitor.capacitance"),
        ("inputs.main.withstands[0].voltage", "inputs.main.withstands.0.voltage"),
    ],
)
def test_a_position_in_brackets_is_shown_as_it_is_meant(job: rw.Job, path: str, meant: str) -> None:
    with pytest.raises(NotEdited) as told:
        job.edit(path, "1")
    assert str(told.value).endswith(f"; write {meant}")
    named = str(told.value).partition("expected one of ")[2].partition(", got ")[0].split(", ")
    assert len(named) == len(set(named))


@pytest.mark.parametrize("what", ["job", "check", "rehearsal", "traces", "judged", "ensemble", "faults"])
def test_a_repr_is_one_line_and_begins_with_its_class(job: rw.Job, what: str) -> None:
    rehearsal = job.rehearse()
    made: dict[str, Callable[[], Any]] = {
        "job": lambda: job,
        "check": job.check,
        "rehearsal": lambda: rehearsal,
        "traces": lambda: rehearsal["main"],
        "judged": lambda: rehearsal.evaluation,
        "ensemble": lambda: job.ensemble(2),
        "faults": job.faults,
    }
    shown = repr(made[what]())
    assert re.match(rf"<{type(made[what]()).__name__}[ :]", shown)
    assert len(shown) < 160
    assert shown.isprintable()


def test_counts_in_a_repr_are_those_of_what_it_holds(job: rw.Job) -> None:
    check, study, ensemble = job.check(), job.faults(), job.ensemble(3)
    counted = [int(each) for each in re.findall(r"(\d+) (?:stop|caution|note|assumed)", repr(check))]
    assert sum(counted) == len(check.findings)
    told = [int(each) for each in re.findall(r"\d+", study.tally)]
    assert told == [
        sum(each.contained is verdict for each in study.results) for verdict in (True, False, None)
    ]
    assert sum(told) == len(study.results) > 0
    assert says(repr(ensemble), "main, transducer", ensemble.played)


def test_events_and_shapes_are_one_line_each(job: rw.Job) -> None:
    rehearsal = job.rehearse()
    for event in rehearsal.events:
        assert says(
            repr(event), f"{event.time:.6g} s", event.subject, event.what, *filter(None, [event.detail])
        )
        assert "None" not in repr(event)
    shapes = job.waveform("brown-out")
    assert shapes
    for shape in shapes:
        assert says(repr(shape), "brown-out", shape.input, len(shape.edges) + shape.left_out)
        assert len(repr(shape)) < 160


def test_a_plot_says_where_its_voltage_is(job: rw.Job, run: rw.Run) -> None:
    """At the input's connector, or, where the run reads it there alone, at the supply's terminals."""
    for traces in (*job.rehearse().values(), *run.values()):
        place = "connector" if "voltage" in traces.traces.columns else "terminals"
        assert says(traces.plot().axes[0].get_ylabel(), "Voltage", place, "V")
    assert "voltage" not in run["transducer"].traces.columns


def test_documents_made_in_code_are_never_taken_for_others(job: rw.Job) -> None:
    made = [jobs.Job(replace(job.documents, sources={}), job.path) for _ in range(2)]
    first, second = (each.content for each in made)
    assert made[0].content == first
    assert first != second


def test_what_is_kept_cannot_be_changed(tmp_path: Path) -> None:
    """What one job gives is what the next of the same texts is checked, rehearsed and run with."""
    for document in PROCEDURE.parent.glob("*.yaml"):
        (tmp_path / document.name).write_bytes(document.read_bytes())
    first = rw.open(tmp_path / PROCEDURE.name)
    check, rehearsal = first.check(), first.rehearse()
    procedure, bench, device = first.documents.procedure, first.documents.bench, first.documents.device
    ensemble = first.ensemble(2)
    mappings: list[Any] = [
        *(check.settings.set_points, check.settings.rises, first._hooked.rises, first.timeline.turns),
        *(window.parts for window in check.settings.windows),
        *(procedure.limits, procedure.hook_up, device.inputs),
        *(step.power_up.voltages for step in procedure.steps if step.power_up),
        *(check.checked.documents.procedure.hook_up, check.checked.documents.procedure.limits),
        *(bench.supplies, bench.leads, bench.fixtures, bench.recorders, bench.supplies["left"].outputs),
        bench.supplies["left"].dialect.words,
        *(first.documents.sources, *(source.beside for source in first.documents.sources.values())),
        *(rehearsal.record.traces, rehearsal.record.notes, rehearsal["main"].traces.columns),
        rehearsal.prediction.inputs,
    ]
    for mapping in mappings:
        with pytest.raises(TypeError, match="expected a mapping that stays as it is"):
            mapping["main"] = None
        with pytest.raises(TypeError, match="expected a mapping that stays as it is"):
            mapping.clear()
    own = rehearsal["main"]
    for values in (own.time, own.current, own.voltage, own.current[3:], own.traces.between(0.0, 1.0).time):
        with pytest.raises(ValueError, match="read-only"):
            values[:] = 99.0
        with pytest.raises(ValueError, match="WRITEABLE"):
            values.setflags(write=True)
    ensemble.inputs.clear()
    again = rw.open(PROCEDURE)
    assert again.content == first.content
    assert again.check().settings.set_points == check.settings.set_points
    assert float(again.rehearse()["main"].current.max()) < 99.0
    assert set(again.ensemble(2).inputs) == {"main", "transducer"}


def test_a_run_takes_no_other_set_points_than_were_checked(job: rw.Job, tmp_path: Path) -> None:
    check = job.check()
    feed = check.settings.set_points["main"]
    output = replace(feed.outputs[0], current_limit=3.0, ovp=32.0)
    wrong = {**check.settings.set_points, "main": replace(feed, outputs=(output,))}
    other = replace(check, checked=replace(check.checked, settings=replace(check.settings, set_points=wrong)))
    with pytest.raises(jobs.Blocked, match="expected the set points that were checked"):
        other.run(unit="S-1", operator="O", folder=tmp_path / "run", twins=True)
    assert not (tmp_path / "run").exists()


def test_an_edit_keeps_the_other_documents_as_they_were_read(tmp_path: Path) -> None:
    for document in PROCEDURE.parent.glob("*.yaml"):
        (tmp_path / document.name).write_bytes(document.read_bytes())
    (tmp_path / "figures.yaml").write_text("ISO 16750-2: {edition: my copy, figures: {}}\n")
    procedure = tmp_path / PROCEDURE.name
    procedure.write_text(procedure.read_text("utf-8") + "\nstandards: figures.yaml\n", "utf-8")
    first = rw.open(procedure)
    for name in (first.documents.procedure.device, first.documents.procedure.bench, "figures.yaml"):
        (tmp_path / name).write_text("changed: yes\n")
    procedure.unlink()
    changed = first.edit("limits.main.current_limit", "0.7 A").edit("limits.main.current_limit", "0.9 A")
    assert changed.documents.device == first.documents.device
    assert changed.documents.bench == first.documents.bench
    assert changed.documents.procedure.own_figures == first.documents.procedure.own_figures
    assert changed.documents.procedure.limits["main"].current_limit == 0.9


def test_an_edit_reads_a_document_that_it_names_anew(job: rw.Job, tmp_path: Path) -> None:
    copy = job.save(tmp_path)
    other = copy.edit("revision", "Z9")
    device = tmp_path / copy.documents.procedure.device
    (device.parent / "new.device.yaml").write_bytes(other.documents.sources["device"].content)
    name = (Path(copy.documents.procedure.device).parent / "new.device.yaml").as_posix()
    named = copy.edit("device", name)
    assert named.documents.device.revision == "Z9"
    assert copy.documents.device.revision != "Z9"


def test_an_edit_takes_no_recording_that_changed_meanwhile(tmp_path: Path) -> None:
    procedure = with_recording(tmp_path)
    first = rw.open(procedure)
    assert first.edit("limits.main.current_limit", "0.7 A").content != first.content
    (tmp_path / "rail.csv").write_text(RAIL.replace(",11", ",10"))
    with pytest.raises(RecordingError, match="stays as it is"):
        first.edit("limits.main.current_limit", "0.7 A")


WRONG: list[tuple[str, type[Exception], Callable[[rw.Job], Any]]] = [
    ("cases: .* 0", ValueError, lambda job: job.ensemble(0)),
    ("cases: .* -5", ValueError, lambda job: job.ensemble(-5)),
    ("cases: .* 1000000000000", ValueError, lambda job: job.ensemble(10**12)),
    ("cases: .* 1.5", TypeError, lambda job: job.ensemble(1.5)),
    ("cases: .* True", TypeError, lambda job: job.ensemble(True)),
    ("seed: .* -1", ValueError, lambda job: job.ensemble(2, -1)),
    ("cases: .* -1", ValueError, lambda job: job.check(cases=-1)),
    ("cases: .* 'x'", TypeError, lambda job: job.check(cases="x")),
    ("cases: .* 1000000000000", ValueError, lambda job: job.check(cases=10**12)),
    ("static: .* 'no'", TypeError, lambda job: job.check(static="no")),
    ("seed: .* 'x'", TypeError, lambda job: job.check(seed="x")),
    ("case: .* None", TypeError, lambda job: job.rehearse(None)),
    ("case: .* \\['nominal'\\]", TypeError, lambda job: job.rehearse(["nominal"])),
    ("case: .* 5", TypeError, lambda job: job.faults(5)),
    ("step: .*'brown-out'.* 'nope'", ValueError, lambda job: job.waveform("nope")),
    ("step: .* 5", ValueError, lambda job: job.waveform(5)),
    ("path: .* \\[\\]", ValueError, lambda job: job.edit([], "1 A")),
    ("path: .* 5", TypeError, lambda job: job.edit(5, "1 A")),
    ("path: .* b'limits'", TypeError, lambda job: job.edit(b"limits", "1 A")),
    ("path: .* \\[None\\]", TypeError, lambda job: job.edit([None], "1 A")),
    ("value: .* None", TypeError, lambda job: job.edit("procedure", None)),
    (r"value: .* '\\ud800'", ValueError, lambda job: job.edit("procedure", "\ud800")),
    (r"path: .* '\\ud800'", ValueError, lambda job: job.edit("\ud800", "1 A")),
    ("consent: .* 'no'", TypeError, lambda job: job.check().run(unit="S", operator="O", consent="no")),
    ("twins: .* 'no'", TypeError, lambda job: job.check().run(unit="S", operator="O", twins="no")),
    ("unit: .* None", TypeError, lambda job: job.check().run(unit=None, operator="O", twins=True)),
    ("operator: .* 5", TypeError, lambda job: job.check().run(unit="S", operator=5, twins=True)),
    (r"unit: .* '\\ud800'", ValueError, lambda job: job.check().run(unit="\ud800", operator="O", twins=True)),
    ("path: .* b'x.pdf'", TypeError, lambda job: job.sheet(b"x.pdf")),
    (r"path: .* 'a\\x00b.pdf'", ValueError, lambda job: job.sheet("a\0b.pdf")),
    ("folder: .* 5", TypeError, lambda job: job.save(5)),
    ("folder: .* None", TypeError, lambda job: rw.read_run(None)),
    (r"procedure: .* b'\\xff'", TypeError, lambda job: rw.open(b"\xff")),
    ("unit: .* ''", ValueError, lambda job: job.check().run(unit="", operator="O", twins=True)),
    ("operator: .* ' '", ValueError, lambda job: job.check().run(unit="S", operator=" ", twins=True)),
    ("cases: .* 0", ValueError, lambda job: job.check(cases=0)),
    ("folder: .* 5", TypeError, lambda job: job.check().run(unit="S", operator="O", twins=True, folder=5)),
    ("folder: .* ''", ValueError, lambda job: job.check().run(unit="S", operator="O", twins=True, folder="")),
    (
        r"unit: .* 'A\\x1b\[2J'",
        ValueError,
        lambda job: job.check().run(unit="A\x1b[2J", operator="O", twins=True),
    ),
    (
        r"operator: .* '\\u202eA'",
        ValueError,
        lambda job: job.check().run(unit="S", operator="\u202eA", twins=True),
    ),
    ("procedure: .* ''", ValueError, lambda job: rw.open("")),
    ("seed: .* 'a'", TypeError, lambda job: job.check().run(unit="S", operator="O", twins=True, seed="a")),
]


@pytest.mark.parametrize(("told", "kind", "ask"), WRONG, ids=[told for told, _, _ in WRONG])
def test_a_wrong_argument_is_one_line(
    job: rw.Job, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, told: str, kind: type[Exception], ask: Any
) -> None:
    """It names the argument, says what was expected, and what came."""
    monkeypatch.chdir(tmp_path)
    with pytest.raises(kind) as caught:
        ask(job)
    line = str(caught.value)
    assert re.match(told.replace(" .* ", " expected .*, got ", 1), line), line
    assert line.isprintable()
    assert not list(tmp_path.iterdir())


def test_what_cannot_be_written_is_one_line(job: rw.Job, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    for write, to in (
        (job.save, tmp_path / "file" / "x"),
        (job.sheet, tmp_path / "nowhere" / "x.pdf"),
        (job.sheet, tmp_path / "file" / "x.svg"),
    ):
        with pytest.raises(rw.NotWritten) as told:
            write(to)
        assert str(told.value).startswith(f"{to}")
        assert ": expected a place where a file can be written, got none: " in str(told.value)
        assert str(told.value).isprintable()


def test_a_number_of_numpy_is_written_as_a_number(job: rw.Job) -> None:
    path = "steps.0.power_up.gap"
    with pytest.raises(DocumentErrors) as told:
        job.edit(path, np.float64(0.5))
    assert "got '0.5'" in str(told.value)
    for points in (np.int64(9), np.int32(9)):
        sweep = job.edit("steps.2.sweep.points", points).documents.procedure.steps[2].sweep
        assert sweep is not None
        assert sweep.points == 9


def test_what_the_library_raises_can_be_caught_by_name(tmp_path: Path) -> None:
    with pytest.raises(rw.DocumentErrors):
        rw.open(tmp_path / "nothing.yaml")
    with pytest.raises(rw.NoRun):
        rw.read_run(tmp_path)
    for name in rw.__all__:
        found = getattr(rw, name)
        assert found.__name__ == name if isinstance(found, type) else found
    page = (Path(__file__).parents[1] / "docs" / "library.md").read_text("utf-8")
    pairs = re.findall(r"\b([A-Z][a-z]+[A-Z]\w+)|`([A-Z][a-z]+)`", page)
    named = {one or other for one, other in pairs} - {"TypeError", "ValueError"}
    assert {"Blocked", "Check", "DocumentErrors"} <= named <= set(rw.__all__)


@pytest.mark.parametrize("checked", ["static", "settled"])
def test_what_was_not_rehearsed_does_not_switch_real_supplies_on(tmp_path: Path, checked: str) -> None:
    """A full check may stop what a static one lets pass: a trip that only a rehearsal sees."""
    job = rw.open(PROCEDURE)
    check = job.check(static=True) if checked == "static" else job.settle()
    with pytest.raises(rw.Blocked, match="with its rehearsal"):
        check.run(unit="U-1", operator="A. Keeper", folder=tmp_path / "run")
    assert not (tmp_path / "run").exists()

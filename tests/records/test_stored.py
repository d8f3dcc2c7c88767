"""A run on disk: read back, verified, and read from its log where that is all there is."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from tests.running.small import PROCEDURE, Small, small, write
from tests.said import says

from railwright.archive.ending import ending_of
from railwright.documents.loader import load_documents
from railwright.plan.off_order import off_order
from railwright.quantities import show
from railwright.records.ended import Ended
from railwright.records.log import Log, LogLines
from railwright.records.manifest import write_manifest
from railwright.records.readings import read_record
from railwright.records.stored import NoRun, open_run


def test_a_run_read_back_is_the_run(bench: Small) -> None:
    outcome = bench.run(settings={"limit": 1.0})
    data = open_run(outcome.folder)
    assert data.ended is Ended.COMPLETED
    assert data.settings == {"limit": 1.0}
    assert data.differences.lines() == ()
    assert (data.about["unit"], data.about["operator"]) == ("U-7", "An operator")
    assert data.about["laboratory"] == {"name": "A laboratory", "address": "Somewhere"}
    assert data.about["instruments"][0]["calibration"]["certificate"] == "C-1"
    for record in (data.record, read_record(outcome.folder / "log.ndjson")[0]):
        assert record.events == outcome.record.events
        assert record.spans == outcome.record.spans
        for name, traces in outcome.record.traces.items():
            np.testing.assert_allclose(record.traces[name].time, traces.time, atol=1e-6)
            for channel, values in traces.columns.items():
                np.testing.assert_array_equal(record.traces[name].columns[channel], values)


def test_the_columns_of_the_files_are_as_words_has_them(bench: Small) -> None:
    from pyarrow import parquet

    folder = bench.run().folder
    assert parquet.read_schema(folder / "record-main.parquet").names == [
        "time_s",
        "main_voltage_V",
        "main_current_A",
        "main_mode",
    ]
    assert "aux_terminal_voltage_V" in parquet.read_schema(folder / "record-aux.parquet").names


def test_the_documents_in_it_still_refer_to_each_other(bench: Small) -> None:
    data = open_run(bench.run().folder)
    assert data.procedure is not None
    again = load_documents(data.procedure)
    assert again.procedure == bench.documents.procedure
    assert again.bench == bench.documents.bench
    assert data.procedure.read_text("utf-8") == PROCEDURE


def test_what_was_changed_afterwards_is_named(bench: Small) -> None:
    folder = bench.run().folder
    (folder / "events.json").write_text("[]\n")
    (folder / "documents" / "bench.yaml").unlink()
    (folder / "report.pdf").write_bytes(b"later")
    differences = open_run(folder).differences
    assert differences.changed == ("events.json",)
    assert differences.missing == ("documents/bench.yaml",)
    assert differences.added == ("report.pdf",)
    assert not differences.sound
    write_manifest(folder, ["report.pdf"])
    after = open_run(folder).differences
    assert (after.changed, after.added) == (("events.json",), ())


def as_killed(folder: Path) -> list[dict[str, object]]:
    """Make a finished run one that was killed before it wrote down its end. Gives its guard's journal."""
    about = json.loads((folder / "run.json").read_text())
    kept = {name: about[name] for name in ("run", "unit", "sensed", "documents")}
    instruments = [{**each, "identification": None} for each in about["instruments"]]
    (folder / "run.json").write_text(json.dumps({**kept, "instruments": instruments, "ended": None}))
    for path in (folder / "manifest.json", folder / "events.json", *folder.glob("*.parquet")):
        path.unlink()
    return [json.loads(line) for line in (folder / "guard.ndjson").read_text().splitlines()]


def put_journal(folder: Path, lines: list[dict[str, object]]) -> None:
    (folder / "guard.ndjson").write_text("".join(json.dumps(line) + "\n" for line in lines))


def test_of_a_killed_run_its_guard_tells_how_the_outputs_ended(bench: Small) -> None:
    outcome = bench.run()
    sent = next(e.time for e in outcome.record.events if (e.subject, e.what) == ("aux", "off sent"))
    about = open_run(outcome.folder).about
    assert all(each["identification"]["model"] for each in about["instruments"])
    as_killed(outcome.folder)
    data = open_run(outcome.folder)
    assert (data.ended, data.complete) == (Ended.KILLED, False)
    assert data.about["off_confirmed"] is True
    assert data.about["not_confirmed"] == []
    assert says(data.about["cause"], "killed", "guard")
    said, unit = data.about["cause"].split("off at ")[1].split()[:2]
    assert float(said) * {"ms": 1e-3, "s": 1.0}[unit] == pytest.approx(sent, abs=0.02)
    ends = data.about["switched_off"]
    assert {name: off["confirmed"] for name, off in ends.items()} == {"main": True, "aux": True}
    assert ends["main"]["threshold"] == outcome.switched_off["main"].threshold
    assert data.about["instruments"] == about["instruments"]
    # The run had written these events down itself: they are there once.
    assert data.record.events == outcome.record.events
    assert ending_of(data).words == "stopped, off confirmed"


def test_what_the_log_does_not_tell_of_the_end_is_taken_from_the_guard(bench: Small) -> None:
    outcome = bench.run()
    as_killed(outcome.folder)
    log = outcome.folder / "log.ndjson"
    lines = [line for line in log.read_text().splitlines(keepends=True) if '"off ' not in line]
    log.write_text("".join(lines))
    whats = {(e.subject, e.what): e.time for e in open_run(outcome.folder).record.events}
    own = {
        (e.subject, e.what): e.time for e in outcome.record.events if e.what in ("off sent", "off confirmed")
    }
    assert {("main", "off confirmed"), ("aux", "off confirmed")} <= set(own)
    assert {key: whats[key] for key in own} == pytest.approx(own, abs=0.02)


@pytest.mark.parametrize(
    ("kept", "confirmed", "words"),
    [
        (("arm", "off begun"), False, "and did not come to its end; use the mains switch"),
        (("arm",), False, "neither the run nor its guard came to switch off; use the mains switch"),
        (("over",), True, None),
        ((), False, "killed before it recorded how its outputs went off"),
    ],
)
def test_a_guard_that_did_not_come_to_its_end_confirms_nothing(
    bench: Small, kept: tuple[str, ...], confirmed: bool, words: str | None
) -> None:
    folder = bench.run().folder
    put_journal(folder, [line for line in as_killed(folder) if line["kind"] in kept])
    ending = ending_of(open_run(folder))
    assert ending.off_confirmed is confirmed
    assert ending.energised is (words is not None)
    assert words is None or words in ending.not_confirmed[0]
    assert words is not None or ending.words == "stopped, nothing was energised"


def test_an_input_that_the_guard_could_not_confirm_is_named_with_its_last_voltage(bench: Small) -> None:
    folder = bench.run().folder
    journal = as_killed(folder)
    over = next(line for line in journal if line["kind"] == "off over")
    over["ends"]["main"] |= {"confirmed": False, "why": "left is lost", "voltage": None}  # type: ignore[index]
    put_journal(folder, journal)
    ending = ending_of(open_run(folder))
    assert ending.off_confirmed is False
    off = open_run(folder).about["switched_off"]["main"]
    newest = float(open_run(folder).record.traces["main"].columns["voltage"][-1])
    assert (off["residual"], off["before"]) == (None, newest)
    before = show(newest, "V")
    assert says(ending.not_confirmed[0], "main", "left", "OFF", before, "before OFF", "mains switch")


def test_a_journal_that_cannot_be_read_is_told(bench: Small) -> None:
    folder = bench.run().folder
    as_killed(folder)
    (folder / "guard.ndjson").write_text("no journal\nat all\n")
    data = open_run(folder)
    assert "off_confirmed" not in data.about
    assert data.recovered[-1].partition(":")[0] == "guard.ndjson"


@pytest.mark.parametrize("cut", [1, 7, 30])
def test_a_torn_last_line_is_left_out(tmp_path: Path, cut: int) -> None:
    log = Log(tmp_path / "log.ndjson")
    log.write("event", time=0.5, subject="main", what="on", detail="ä")
    log.write("event", time=0.7, subject="main", what="off", detail="")
    log.close()
    content = log.path.read_bytes()
    log.path.write_bytes(content[:-cut])
    events = read_record(log.path)[0].events
    # The newline alone may be missing: then the line is whole.
    assert [event.what for event in events] == (["on", "off"] if cut == 1 else ["on"])


def test_a_bad_line_in_the_middle_is_told(tmp_path: Path) -> None:
    path = tmp_path / "log.ndjson"
    path.write_text('{"kind":"end"}\n{"kind":\n{"kind":"end"}\n')
    with pytest.raises(ValueError, match=r"log.ndjson:2: expected a JSON object"):
        list(LogLines(path))


def test_what_is_no_run(tmp_path: Path, bench: Small) -> None:
    with pytest.raises(NoRun, match=r"run.json: expected a file of a run, got nothing there"):
        open_run(tmp_path)
    (tmp_path / "file").write_text("")
    for there in ("run9", "file"):
        with pytest.raises(NoRun) as told:
            open_run(tmp_path / there)
        assert str(told.value).startswith(f"{tmp_path / there}: expected the folder of a run; ")
    folder = bench.run().folder
    (folder / "record-main.parquet").write_bytes(b"PAR1 not really")
    with pytest.raises(NoRun, match="expected the record of a run"):
        open_run(folder)
    about = json.loads((folder / "run.json").read_text())
    (folder / "run.json").write_text(json.dumps({**about, "ended": "perhaps"}))
    with pytest.raises(NoRun, match=r"run.json: ended: .* got 'perhaps'"):
        open_run(folder)


@pytest.mark.parametrize(
    ("down", "order"),
    [("[aux, main]", ("aux", "main")), ("[main]", ("aux", "main")), ("[aux]", ("aux", "main"))],
)
def test_off_order(tmp_path: Path, down: str, order: tuple[str, ...]) -> None:
    address = "TCPIP::127.0.0.1::1::SOCKET"
    text = PROCEDURE.replace("power_down: {order: [aux, main]", f"power_down: {{order: {down}")
    documents = load_documents(write(tmp_path, address, address.replace("::1::", "::2::"), text))
    assert off_order(documents.procedure, documents.device, ("main", "aux")) == order


def test_without_a_power_down_the_last_on_goes_off_first(tmp_path: Path) -> None:
    text = "".join(line for line in PROCEDURE.splitlines(keepends=True) if "power_down" not in line)
    with small(tmp_path, text) as bench:
        outcome = bench.run()
        assert bench.everything_off
    offs = [event.subject for event in outcome.record.events if event.what == "off sent"]
    assert offs == ["aux", "main"]
    assert outcome.ended is Ended.COMPLETED

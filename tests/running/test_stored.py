"""A run on disk: read back, verified, and read from its log where that is all there is."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from tests.running.small import PROCEDURE, Small, small, write

from railwright.documents.loader import load_documents
from railwright.running.log import Log, read_log
from railwright.running.manifest import write_manifest
from railwright.running.off_order import off_order
from railwright.running.outcome import Ended
from railwright.running.readings import read_record
from railwright.running.stored import NoRun, open_run


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
        list(read_log(path))


def test_what_is_no_run(tmp_path: Path, bench: Small) -> None:
    with pytest.raises(NoRun, match=r"run.json: expected a file of a run, got nothing there"):
        open_run(tmp_path)
    folder = bench.run().folder
    (folder / "record-main.parquet").write_bytes(b"PAR1 not really")
    with pytest.raises(NoRun, match="expected the record of a run"):
        open_run(folder)
    about = json.loads((folder / "run.json").read_text())
    (folder / "run.json").write_text(json.dumps({**about, "ended": "perhaps"}))
    with pytest.raises(NoRun, match="expected the record of a run"):
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

"""Exports, opened by the programs they are for; one run on simulated supplies with two multimeters."""

from __future__ import annotations

import datetime as dt
import json
import math
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pandas as pd
import polars as pl
import pytest
import xarray as xr
from pyarrow import parquet
from tests.evaluation.stored_runs import store
from tests.multimeter.station import AMMETER, VOLTMETER, documents, played
from tests.said import says

import railwright as rw
from railwright.archive import export as export_module
from railwright.recordings.of_inputs import record_of
from railwright.recordings.opening import open_recording
from railwright.records.names import EXPORT_KINDS
from railwright.traces import Mode

REQUIRES = "  - {name: level, measure: high_state_level, of: main, during: steady, between: 11 V .. 13 V}\n"
MODES = {"0": "off", "1": "CV", "2": "CC", "3": "CP", "4": "tripped"}
UNITS = {
    "record-main": {"time_s": "s", "main_voltage_V": "V", "main_current_A": "A", "main_mode": "1"},
    "record-transducer": {
        "time_s": "s",
        "transducer_terminal_voltage_V": "V",
        "transducer_current_A": "A",
        "transducer_mode": "1",
    },
    "multimeter-volts": {"time_s": "s", "volts_voltage_V": "V", "took_s": "s"},
    "multimeter-amperes": {"time_s": "s", "amperes_current_A": "A", "took_s": "s"},
}
"""Stem of a file -> its columns, by hand."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Of a run."""
    probes = "{volts: {of: main}, amperes: {of: transducer}}"
    place = tmp_path_factory.mktemp("export")
    stored, _ = played(documents(place / "a", REQUIRES, meters=VOLTMETER + AMMETER, probes=probes))
    return stored.folder


@pytest.fixture(scope="module")
def run(folder: Path) -> rw.Run:
    return rw.read_run(folder)


@pytest.fixture(scope="module")
def about(folder: Path) -> dict[str, str]:
    """What every file says of the run, from what `run.json` holds."""
    data = json.loads((folder / "run.json").read_text("utf-8"))
    return {"run": data["run"], "time_zero": data["began"], "software": data["software"]}


def by_stem(paths: tuple[Path, ...], about: dict[str, str]) -> dict[str, Path]:
    for path in paths:
        assert path.name.startswith(f"{about['run']}-")
    return {path.stem.removeprefix(f"{about['run']}-"): path for path in paths}


def log_of(folder: Path, kind: str, **named: str) -> list[dict[str, Any]]:
    """The lines of a kind, as the log has them."""
    told = [json.loads(line) for line in (folder / "log.ndjson").read_text("utf-8").splitlines()]
    return [
        line for line in told if line["kind"] == kind and all(line[key] == own for key, own in named.items())
    ]


def test_csv_is_read_by_pandas(run: rw.Run, folder: Path, about: dict[str, str], tmp_path: Path) -> None:
    paths = by_stem(run.export("csv", tmp_path), about)
    assert set(paths) == set(UNITS)
    for stem, path in paths.items():
        lines = path.read_text("utf-8").splitlines()
        told = dict(line[2:].split(": ", 1) for line in lines if line.startswith("# "))
        assert {name: told[name] for name in about} == about
        assert json.loads(told["units"]) == UNITS[stem]
        assert ("modes" in told) == stem.startswith("record")
        frame = pd.read_csv(path, comment="#")
        assert list(frame) == list(UNITS[stem])
    frame = pd.read_csv(paths["record-main"], comment="#")
    lines = log_of(folder, "reading", input="main")
    np.testing.assert_array_equal(frame["main_current_A"], [line["current"] for line in lines])
    np.testing.assert_array_equal(frame["main_mode"], [line["mode"] for line in lines])
    meter = pd.read_csv(paths["multimeter-volts"], comment="#")
    assert len(meter) == len(log_of(folder, "multimeter", name="volts")) > 20
    # 12 V were set, and the readings are of the simulated supply's terminals or of the load.
    steady = frame[(frame.time_s > 1.0) & (frame.time_s < 3.0)]
    assert steady.main_voltage_V.mean() == pytest.approx(12.0, abs=0.05)


@pytest.mark.parametrize("own", [False, True], ids=["exported", "of the run"])
def test_parquet_says_what_it_is_to_pandas_and_to_arrow(
    run: rw.Run, folder: Path, about: dict[str, str], tmp_path: Path, own: bool
) -> None:
    if own:
        paths = {path.stem: path for path in folder.glob("*.parquet")}
        columns = {"volts_voltage_V": "value", "amperes_current_A": "value"}
    else:
        paths, columns = by_stem(run.export("parquet", tmp_path), about), {}
    assert set(paths) == set(UNITS)
    for stem, path in paths.items():
        units = {columns.get(name, name): unit for name, unit in UNITS[stem].items()}
        frame = pd.read_parquet(path)
        modes = {"modes": MODES} if stem.startswith("record") else {}
        assert frame.attrs == {**about, "units": units, **modes}
        assert list(frame) == list(units)
        schema = parquet.read_schema(path)
        told = {each.name: (each.metadata or {}).get(b"unit", b"1").decode() for each in schema}
        assert told == units
        texts = {name.decode(): each.decode() for name, each in schema.metadata.items()}
        assert {name: texts[name] for name in about} == about
        assert json.loads(texts["units"]) == units
    frame = pd.read_parquet(paths["record-transducer"])
    lines = log_of(folder, "reading", input="transducer")
    np.testing.assert_array_equal(frame["transducer_terminal_voltage_V"], [line["voltage"] for line in lines])


def test_polars_reads_both_and_finds_the_units(
    run: rw.Run, folder: Path, about: dict[str, str], tmp_path: Path
) -> None:
    tables = by_stem(run.export("parquet", tmp_path), about)
    texts = by_stem(run.export("csv", tmp_path), about)
    assert set(tables) == set(texts) == set(UNITS)
    for stem, path in tables.items():
        told = pl.read_parquet_metadata(path)
        assert {name: told[name] for name in about} == about
        assert json.loads(told["units"]) == UNITS[stem]
        frame, text = pl.read_parquet(path), pl.read_csv(texts[stem], comment_prefix="#")
        assert frame.columns == text.columns == list(UNITS[stem])
        for name in frame.columns:
            np.testing.assert_array_equal(frame[name].to_numpy(), text[name].to_numpy())
    frame = pl.read_parquet(tables["record-main"])
    lines = log_of(folder, "reading", input="main")
    assert frame["main_current_A"].to_list() == [line["current"] for line in lines]
    assert frame["main_mode"].to_list() == [line["mode"] for line in lines]


def test_hdf5_is_read_by_h5py_and_xarray(run: rw.Run, about: dict[str, str], tmp_path: Path) -> None:
    (path,) = run.export("hdf5", tmp_path)
    assert path.name == f"{about['run']}.h5"
    with h5py.File(path) as file:
        assert dict(file.attrs) == about
        assert {f"inputs/{name}" for name in file["inputs"]} == {"inputs/main", "inputs/transducer"}
        mode = file["inputs/main/mode"]
        words = dict(
            zip(mode.attrs["flag_values"].tolist(), mode.attrs["flag_meanings"].split(), strict=True)
        )
        assert words == {int(number): word for number, word in MODES.items()}
        np.testing.assert_array_equal(file["inputs/main/voltage"][:], run["main"].voltage)
        assert file["multimeters/amperes/current"].attrs["units"] == "A"
    with xr.open_dataset(path, group="inputs/main", engine="h5netcdf") as data:
        assert {name: each.attrs["units"] for name, each in data.variables.items()} == {
            "time": "s",
            "voltage": "V",
            "current": "A",
            "mode": "1",
        }
        assert data.attrs == about
        assert data.voltage.dims == ("time",)
        np.testing.assert_array_equal(data.voltage, run["main"].voltage)
        np.testing.assert_array_equal(data.time, run["main"].time)
    with xr.open_dataset(path, group="multimeters/volts", engine="h5netcdf") as data:
        assert (data.voltage.attrs["units"], data.took.attrs["units"]) == ("V", "s")
        assert float(data.voltage.median()) == pytest.approx(12.0, abs=0.05)


@pytest.mark.parametrize("kind", EXPORT_KINDS)
def test_every_kind_is_a_recording_to_this_program_too(
    run: rw.Run, about: dict[str, str], tmp_path: Path, kind: rw.ExportKind
) -> None:
    """Names and units are found, whether they stand in the header, beside it or in both."""
    paths = run.export(kind, tmp_path)
    path = paths[0] if kind == "hdf5" else by_stem(paths, about)["record-main"]
    time = "inputs/main/time" if kind == "hdf5" else None
    with open_recording(path, time=time, guess=False) as recording:
        if kind != "hdf5":  # there a path is no name of a channel
            traces = record_of(recording, "scope", ["main"]).traces["main"]
            np.testing.assert_allclose(traces.columns["voltage"], run["main"].voltage)
            np.testing.assert_allclose(traces.time, run["main"].time)
        names = {column.name: column.unit for column in recording.columns}
    wanted = "inputs/main/voltage" if kind == "hdf5" else "main_voltage"
    assert names[wanted] == "V"
    assert not recording.time.guessed


def test_a_killed_run_is_exported_from_its_log(
    run: rw.Run, folder: Path, about: dict[str, str], tmp_path: Path
) -> None:
    """With the same time 0, which the log alone tells then, and with what is the matter with it."""
    killed = shutil.copytree(folder, tmp_path / "killed")
    data = json.loads((killed / "run.json").read_text("utf-8"))
    (killed / "run.json").write_text(json.dumps({**data, "ended": None, "began": None}), "utf-8")
    for path in (*killed.glob("*.parquet"), killed / "manifest.json", killed / "events.json"):
        path.unlink()
    paths = by_stem(rw.read_run(killed).export("parquet", tmp_path / "out"), about)
    attrs = pd.read_parquet(paths["record-main"]).attrs
    assert attrs["time_zero"] == about["time_zero"]
    assert any(says(remark, "killed") for remark in attrs["remarks"])
    whole = by_stem(run.export("parquet", tmp_path / "whole"), about)
    assert "remarks" not in pd.read_parquet(whole["record-main"]).attrs
    for stem in UNITS:
        pd.testing.assert_frame_equal(pd.read_parquet(paths[stem]), pd.read_parquet(whole[stem]))


def test_a_run_that_never_began_to_play_counts_from_its_start(tmp_path: Path) -> None:
    started = "2026-11-25T11:03:12+00:00"
    place = store(tmp_path / "x", ended="stopped", cause="a person", started=started, energised=False)
    for path in rw.read_run(place).export("parquet"):
        assert path.parent == place / "export"
        zero = dt.datetime.fromisoformat(pd.read_parquet(path).attrs["time_zero"])
        assert zero == dt.datetime(2026, 11, 25, 11, 3, 12, tzinfo=dt.UTC)


@pytest.mark.parametrize("kind", EXPORT_KINDS)
@pytest.mark.parametrize("rows", [1, 7, 50])
def test_pieces_make_one_file(
    tmp_path: Path, kind: rw.ExportKind, rows: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many rows are taken at a time; of a supply that tells no mode there is no such column."""
    monkeypatch.setattr(export_module, "ROWS", rows)
    place = store(tmp_path / "x", at=0.4, current=0.1 + 0.2)
    run = rw.read_run(place)
    time = np.arange(-0.1, 0.405, 0.01)
    read: dict[str, Callable[[Path], Any]] = {
        "csv": lambda path: pd.read_csv(path, comment="#").to_numpy(),
        "parquet": lambda path: pd.read_parquet(path).to_numpy(),
        "hdf5": lambda path: np.column_stack(
            [h5py.File(path)[f"inputs/main/{name}"][:] for name in ("time", "voltage", "current")]
        ),
    }
    rows_read = read[kind](run.export(kind, tmp_path / "out")[0])
    np.testing.assert_array_equal(rows_read[:, 0], time)
    np.testing.assert_array_equal(rows_read[:, 1:], np.tile([12.0, 0.1 + 0.2], (time.size, 1)))


def test_a_gap_is_empty_and_a_mode_a_whole_number() -> None:
    """Of a number, what is read back is the same to its last digit."""
    from railwright.archive.export import _cells

    values = np.array([math.nan, 0.1, 1e-7, -1.0, 1 / 3])
    assert _cells("current", values)[0] == ""
    assert [float(each) for each in _cells("current", values)[1:]] == values[1:].tolist()
    assert _cells("mode", np.array([float(Mode.CV), float(Mode.TRIPPED)])) == ["1", "4"]


def test_nothing_is_left_where_it_cannot_be_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run = rw.read_run(store(tmp_path / "x"))
    (tmp_path / "file").write_text("here already", "utf-8")
    with pytest.raises(rw.NotWritten, match=r"file"):
        run.export("csv", tmp_path / "file")
    with pytest.raises(ValueError, match=r"csv, parquet, hdf5.*'xls'"):
        run.export("xls")  # type: ignore[arg-type]
    monkeypatch.setitem(__import__("sys").modules, "h5py", None)
    with pytest.raises(ImportError, match=r"railwright\[hdf5\]"):
        run.export("hdf5", tmp_path / "none")
    assert not (tmp_path / "none").exists()
    assert (tmp_path / "file").read_text("utf-8") == "here already"

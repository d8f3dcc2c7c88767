"""`evaluate --record` and `report` with every kind of recording, and what they say of keys and files."""

from __future__ import annotations

import json
import os
import shutil
import time
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile
from tests.recordings.samples import written
from typer.testing import CliRunner

from railwright.archive.stored import evaluations_of, open_stored
from railwright.cli.app import app
from railwright.recordings.recording import MOST_SHOWN
from railwright.records.manifest import write_manifest

CHANNELS = ["transducer_voltage", "transducer_current", "main_voltage", "main_current"]
KEYS = ", ".join(
    f"{name}: {{column: channel {number}, unit: {(name[-7:] == 'voltage' and 'V') or 'A'}}}"
    for number, name in enumerate(CHANNELS, start=1)
)
RECORDER = "transient recorder"


def call(*arguments: object) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, [str(argument) for argument in arguments])
    return done.exit_code, done.stdout, done.stderr


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run of the example on its twins, without evaluations, and what the bench's recorder wrote."""
    folder = tmp_path_factory.mktemp("recorded") / "demo"
    assert call("demo", "--folder", folder)[0] == 0
    for name in ("evaluations", "recordings", "report"):
        shutil.rmtree(folder / "run" / name)
    write_manifest(folder / "run")
    return folder


@pytest.fixture(scope="module")
def made(demo: Path) -> dict[str, np.ndarray]:
    """The recorder's samples, their times as exact as an interval gives them."""
    table = np.loadtxt(demo / "scope.csv", delimiter=",", skiprows=1)
    names = (demo / "scope.csv").read_text().partition("\n")[0].split(",")
    return {"time_s": np.arange(len(table)) * 2e-5, **dict(zip(names[1:], table[:, 1:].T, strict=True))}


@pytest.fixture
def run(demo: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(demo / "run", tmp_path / "run"))


def wav(folder: Path, made: dict[str, np.ndarray], name: str = "scope") -> Path:
    path = folder / f"{name}.wav"
    wavfile.write(path, 50_000, np.column_stack(list(made.values())[1:]))
    return path


def test_every_kind_gives_the_same_outcome(run: Path, made: dict[str, np.ndarray], tmp_path: Path) -> None:
    assert list(made)[1:] == [f"{name}_{'V' if name.endswith('voltage') else 'A'}" for name in CHANNELS]
    told, curves = {}, {}
    for number, kind in enumerate((".csv", ".parquet", ".h5", ".wav"), start=1):
        path = wav(tmp_path, made) if kind == ".wav" else written(tmp_path, kind, made)
        keys = ("--keys", f"{{channels: {{{KEYS}}}}}") if kind == ".wav" else ()
        code, stdout, stderr = call("evaluate", run, "--record", path, "--json", *keys)
        assert (code, stderr) == (0, "")
        told[kind] = json.loads(stdout)
        copy = run / "recordings" / f"{number:02d}-transient-recorder{kind}"
        assert copy.read_bytes() == path.read_bytes()
    assert told[".csv"] == told[".parquet"] == told[".h5"] == told[".wav"]
    assert {r["name"]: r["source"] for r in told[".csv"]["requirements"]}["transducer inrush"] == RECORDER
    assert told[".csv"]["offsets"] == pytest.approx([0.0559 - 0.2], abs=7e-3)
    # What a report draws is each of them, where the evaluation had put it.
    _, records = evaluations_of(open_stored(run))
    assert len(records) == 4
    for record, kind in zip(records, told, strict=True):
        traces = record.traces["transducer"]
        assert np.array_equal(traces.time, made["time_s"] + told[kind]["offsets"][0])
        curves[kind] = traces.columns["current"]
        assert np.array_equal(curves[kind], made["transducer_current_A"])


def test_two_recordings_of_one_recorder_are_both_kept(
    run: Path, made: dict[str, np.ndarray], tmp_path: Path
) -> None:
    """The copy of the second once took the place of the first."""
    paths = []
    for place, rows in enumerate((slice(None), slice(None, -100))):
        folder = tmp_path / str(place)
        folder.mkdir()
        paths.append(written(folder, ".csv", {name: values[rows] for name, values in made.items()}))
    given = [each for path in paths for each in ("--record", path, "--recorder", RECORDER)]
    assert call("evaluate", run, *given)[0] == 0
    used = json.loads((run / "evaluations" / "01.json").read_text("utf-8"))["recordings"]
    assert [(run / each["file"]).read_bytes() for each in used] == [path.read_bytes() for path in paths]
    assert [each["file"] for each in used] == [
        "recordings/01-transient-recorder.csv",
        "recordings/01-transient-recorder-2.csv",
    ]
    _, records = evaluations_of(open_stored(run))
    assert [record.traces["main"].time.size for record in records] == [
        made["time_s"].size,
        made["time_s"].size - 100,
    ]


def test_a_report_of_an_earlier_version_s_evaluation_finds_the_offset_again(
    run: Path, made: dict[str, np.ndarray], tmp_path: Path
) -> None:
    code, stdout, _ = call("evaluate", run, "--record", written(tmp_path, ".csv", made), "--json")
    kept = run / "evaluations" / "01.json"
    data = json.loads(kept.read_text("utf-8"))
    del data["offsets"], data["recordings"][0]["keys"]
    kept.write_text(json.dumps(data), "utf-8")
    _, (record,) = evaluations_of(open_stored(run))
    assert (code, record.traces["main"].time[0]) == (0, json.loads(stdout)["offsets"][0])


def test_a_long_recording_is_drawn_by_its_extremes(
    run: Path, made: dict[str, np.ndarray], tmp_path: Path
) -> None:
    """Forty samples for one: more than are kept, with a peak of a single sample among them."""
    time_s = np.arange(40 * (made["time_s"].size - 1)) * (2e-5 / 40)
    long = {name: np.interp(time_s, made["time_s"], values) for name, values in made.items()} | {
        "time_s": time_s
    }
    long["transducer_current_A"][600_001] += 0.01
    assert time_s.size > MOST_SHOWN
    path = written(tmp_path, ".parquet", long)
    code, stdout, _ = call("evaluate", run, "--record", path, "--json")
    assert code == 5  # a peak of one sample may be higher than it shows
    _, (record,) = evaluations_of(open_stored(run))
    traces = record.traces["transducer"]
    assert 0.1 * MOST_SHOWN < traces.time.size <= MOST_SHOWN
    place = int(np.searchsorted(traces.time, time_s[600_001] + json.loads(stdout)["offsets"][0]))
    assert traces.columns["current"][place] == long["transducer_current_A"][600_001]
    for name, values in traces.columns.items():
        whole = long[f"transducer_{name}_{'A' if name == 'current' else 'V'}"]
        assert (values.min(), values.max()) == (whole.min(), whole.max())


def test_a_part_of_a_recording(run: Path, made: dict[str, np.ndarray], tmp_path: Path) -> None:
    path = written(tmp_path, ".h5", made)
    keys = "{begin: 150 ms, end: 450 ms}"
    code, stdout, stderr = call("evaluate", run, "--record", path, "--keys", keys, "--json")
    assert (code in (0, 5), stderr) == (True, "")
    _, (record,) = evaluations_of(open_stored(run))
    time_s = record.traces["main"].time - json.loads(stdout)["offsets"][0]
    assert (time_s[0], time_s[-1]) == pytest.approx((0.15 - 2e-5, 0.45 + 2e-5), abs=1e-9)


@pytest.mark.parametrize("kind", [".csv", ".parquet"])
@pytest.mark.parametrize("limit", [25, 60])
@pytest.mark.parametrize("hole", [(0.190, 0.350), (0.165, 0.205), (0.203, 0.230)])
def test_a_hole_over_the_inrush_passes_nothing(
    run: Path, made: dict[str, np.ndarray], tmp_path: Path, kind: str, limit: int, hole: tuple[float, float]
) -> None:
    """The inrush is 27 mA, from 200 ms of the recording on: the recorder was triggered by it."""
    procedure = next((run / "documents").glob("*.procedure.yaml"))
    procedure.write_text(
        procedure.read_text("utf-8").replace("at_most: 60 mA", f"at_most: {limit} mA"), "utf-8"
    )
    write_manifest(run)
    keep = (made["time_s"] < hole[0]) | (made["time_s"] > hole[1])
    files = {}
    for name, rows in (("whole", keep | True), ("holed", keep)):
        files[name] = written(tmp_path, kind, {key: values[rows] for key, values in made.items()}, name)
    offset = ("--keys", f"{{offset: {55.9 - 200:.4g} ms ± 7 ms}}")
    for name, given in (("whole", ()), ("whole", offset), ("holed", ()), ("holed", offset)):
        code, stdout, stderr = call("evaluate", run, "--record", files[name], "--json", *given)
        if name == "holed" and not given and code == 2:
            assert "'offset: 3.7 ms ± 1 ms'" in stderr
            continue
        told = json.loads(stdout)
        assert told["offsets"] == pytest.approx([-0.1441], abs=7e-3)
        assert told["offsets_given_within"] == ([pytest.approx(7e-3)] if given else [None])
        assert any("± 7 ms, as given" in note for note in told["notes"]) == bool(given)
        (inrush,) = (each for each in told["requirements"] if each["name"] == "transducer inrush")
        if name == "whole":
            assert (inrush["outcome"], inrush["source"]) == ("fail" if limit == 25 else "pass", RECORDER)
        else:
            assert inrush["outcome"] in (("fail", "inconclusive") if limit == 25 else ("inconclusive",))
    # What a report draws lies where it was given.
    assert evaluations_of(open_stored(run))[1][-1].traces["main"].time[0] == pytest.approx(-0.1441)


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ("{intervall: 20 us}", "--keys:1:2: unknown key 'intervall'; did you mean 'interval'?"),
        ("{interval: 20 V}", "--keys:1:12: expected a time"),
        ("{time: t, interval: 20 us}", "--keys:1:21: expected 'time' or 'interval', got both"),
        ("hello", "--keys:1:1: expected keys with values such as '{interval: 20 us}', got another text"),
        ("{channels: {main_power: {column: 2}}}", "--keys:1:2: expected a channel such as 'main_voltage"),
        ("{channels: {main_voltage: {full_scale: 5 A}}}", "expected a voltage such as '12 V', got '5 A'"),
        ("{channels: {main_voltage: {full_scale: 0 V}}}", "expected 'full_scale' above zero, got '0 V'"),
        ("{channels: {spare_voltage: {column: 2}}}", "one of the inputs main, transducer"),
        ("{channels: {main_voltage: {column: 9}}}", "expected a column '9' among the columns time, "),
        ("{begin: 1 s}", "expected a part within its 0.6 s, got 1 s to 0.6 s"),
        ("{begin: ", "--keys:1:"),
        (
            "{offset: 3.7 ms}",
            "--keys:1:10: expected a time with its bound, such as '3.7 ms ± 1 ms', got '3.7",
        ),
        ("{offset: 3.7 ms ± 0 ms}", "--keys:1:10: expected a time with its bound"),
        ("{offset: 3.7 ms ± 1 ms normal k=2}", "--keys:1:10: expected a time with its bound"),
        ("{offset: 3 V ± 1 V}", "--keys:1:10: expected a time"),
        ("{offset: 300 ms ± 2 ms}", "the readings exclude '"),
        ("{offset: 1 h ± 2 ms}", "where the run has no readings; correct 'offset'"),
    ],
)
def test_keys_that_cannot_be(
    run: Path, made: dict[str, np.ndarray], tmp_path: Path, keys: str, told: str
) -> None:
    path = written(tmp_path, ".parquet", made)
    code, stdout, stderr = call("evaluate", run, "--record", path, "--keys", keys)
    assert (code, stdout) == (2, "")
    assert told in stderr
    assert len(stderr.splitlines()) == 1
    assert not (run / "recordings").exists()


def test_more_keys_than_recordings(run: Path, demo: Path) -> None:
    scope = demo / "scope.csv"
    code, _, stderr = call("evaluate", run, "--record", scope, "--keys", "{}", "--keys", "{}")
    assert (code, stderr) == (
        2,
        "--keys: expected keys once for each recording at most, got 1 recordings and 2 keys\n",
    )


def test_a_recording_without_names_says_what_to_do(
    run: Path, made: dict[str, np.ndarray], tmp_path: Path
) -> None:
    path = wav(tmp_path, made)
    code, _, stderr = call("evaluate", run, "--record", path)
    assert code == 2
    assert stderr.startswith(f"{path}:1:1: expected a voltage or a current of an input, such as ")
    assert stderr.rstrip().endswith("got none; say in 'channels' which column is which")
    keys = "{channels: {main_voltage: {column: 3}}}"
    code, _, stderr = call("evaluate", run, "--record", path, "--keys", keys)
    assert (code, stderr) == (
        2,
        f"{path}:1:1: expected a unit in the column's name, as in 'time_s', got 'channel 3'; "
        "add it, or give 'unit'\n",
    )


def test_hundreds_of_megabytes_of_another_kind_are_refused_at_once(run: Path, tmp_path: Path) -> None:
    """A file of 800 MB was once read through before it was said that it is no text."""
    path = tmp_path / "scope.parquet"
    path.write_bytes(b"PAR1")
    os.truncate(path, 800_000_000)
    begin = time.process_time()
    code, _, stderr = call("evaluate", run, "--record", path)
    assert (code, time.process_time() - begin < 3.0) == (2, True)
    assert stderr.startswith(f"{path}:1:1: expected a Parquet file, got another: ")


@pytest.mark.alone
@pytest.mark.parametrize(
    ("scale", "voltage", "told"),
    [(1.0, 5.0, "holds no change of main voltage"), (1e12, None, "too much to align")],
)
def test_a_recording_that_does_not_match_is_named(
    run: Path, tmp_path: Path, scale: float, voltage: float | None, told: str
) -> None:
    path = tmp_path / "other.csv"
    rows = [(n * 1e-3 * scale, voltage or 12.0 * (n > 5000)) for n in range(14_000)]
    path.write_text("time_s,main_voltage_V\n" + "".join(f"{t!r},{v!r}\n" for t, v in rows))
    code, _, said = call("evaluate", run, "--record", path)
    assert (code, said.startswith(f"{path}: '{RECORDER}'"), told in said) == (2, True, True), said
    assert said.count("\n") == 1


@pytest.mark.parametrize(("name", "got"), [("nope.csv", "got none: no such file"), (".", "got a folder")])
def test_a_recording_that_is_not_there_is_told_with_its_option(
    run: Path, tmp_path: Path, name: str, got: str
) -> None:
    code, _, stderr = call("evaluate", run, "--record", tmp_path / name)
    assert code == 2
    assert stderr.startswith("--record: expected a recording in '")
    assert got in stderr

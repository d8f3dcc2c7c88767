"""Records of runs and recordings with damage in them: read, evaluated, played."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import pyarrow as pa
from benchmarks.fuzzing.damage import damaged
from benchmarks.fuzzing.documents import Refused
from benchmarks.fuzzing.trial import Findings
from pyarrow import parquet
from scipy.io import wavfile
from tests.running.small import PROCEDURE, small

from railwright.archive.stored import evaluate_run, evaluations_of, open_stored
from railwright.cli.exits import code_of
from railwright.documents.recording_keys import RecordingParts
from railwright.documents.shape_recordings import recording_pieces
from railwright.recordings.of_inputs import Given, record_of
from railwright.recordings.opening import open_recording
from railwright.settings.data import as_data
from railwright.settings.settle import settle

REQUIRES = """\
requires:
  - {measure: voltage, of: main, within: 11.9 V .. 12.1 V, during: steady}
"""


def run(seed: int, count: int) -> Findings:
    """So many: half of them folders of a run with a file damaged, half recordings."""
    findings = Findings("records", allowed=(Refused,), limit=20.0)
    dice = random.Random(f"records {seed}")
    with tempfile.TemporaryDirectory() as name:
        folder = a_run(Path(name) / "run")
        recordings = [(Path(name) / file, content) for file, content in _recordings(Path(name)).items()]
        files = [path for path in sorted(folder.rglob("*")) if path.is_file()]
        kept = {path: path.read_bytes() for path in files}
        for number in range(count):
            if number % 2:
                path, good = recordings[dice.randrange(len(recordings))]
                do = _reading(dice, path)
            else:
                path = files[dice.randrange(len(files))]
                good = kept[path]
                do = _opening(folder)
                # A killed run is read from its log.
                if dice.random() < 0.3:
                    (folder / "run.json").write_bytes(_unfinished(kept[folder / "run.json"]))
            content = good
            for _ in range(dice.choice((1, 1, 2, 5))):
                content = damaged(dice, content)
            path.write_bytes(content)
            findings.attempt(do, partial(_shown, path, good, content))
            path.write_bytes(good)
            for other in sorted(set(folder.rglob("*")) - set(files)):
                if other.is_file():
                    other.unlink()
            for known in files:
                if known.name in ("run.json", "manifest.json") or not known.exists():
                    known.write_bytes(kept[known])
    return findings


def a_run(folder: Path) -> Path:
    """The folder of a short run of two fakes."""
    folder.mkdir(parents=True)
    with small(folder, PROCEDURE) as bench:
        import datetime as dt

        settings = as_data(settle(bench.documents, dt.date(2026, 3, 2)))
        return bench.run(settings=settings).folder


def _unfinished(content: bytes) -> bytes:
    import json

    return json.dumps({**json.loads(content), "ended": None}).encode()


def _told(do: Callable[[], object]) -> Callable[[], None]:
    """The same with errors that are somebody's as `Refused`."""

    def telling() -> None:
        try:
            do()
        except Exception as error:
            known = code_of(error)
            if known is None:
                raise
            raise Refused(known[1]) from None

    return telling


def _opening(folder: Path) -> Callable[[], None]:
    def opening() -> None:
        stored = open_stored(folder)
        list(stored.remarks)
        evaluate_run(stored, [])
        evaluations_of(stored)

    return _told(opening)


def _reading(dice: random.Random, path: Path) -> Callable[[], None]:
    if dice.random() < 0.5:
        return _told(lambda: _evaluated(path, dice.choice((None, 100))))
    keys = RecordingParts.model_construct(
        column=dice.choice((None, None, None, "1", "2", "main_voltage", "99")),
        time=dice.choice((None, None, None, "1", "time")),
        interval=dice.choice((None, None, 1e-3, 1e-300, 1e300)),
        unit=dice.choice((None, None, "mV", "V")),
        full_scale=dice.choice((None, 10.0, 10.0, 1e308)),
        begin=dice.choice((0.0, 0.0, 0.001, 1e300)),
        end=dice.choice((None, None, 0.002, 1e300)),
    )
    return _told(lambda: recording_pieces(path, keys))


def _evaluated(path: Path, shown: int | None) -> None:
    """The recording as `evaluate` and `report` take it."""
    names = {".wav": "channel 1", ".h5": "rail"}
    given = {"main_voltage": Given(names[path.suffix], "V", 20.0)} if path.suffix in names else {}
    with open_recording(path, guess=False) as recording:
        record_of(recording, "scope", ("main", "aux"), given, shown=shown)


def _recordings(folder: Path) -> dict[str, bytes]:
    """Good recordings of every kind."""
    time = np.arange(200) * 1e-3
    value = 12.0 - 6.0 * (time > 0.05) + 0.01 * np.sin(time * 400.0)
    current = 0.3 + 0 * time
    rows = list(zip(time, value, current, strict=True))
    own = "time_s,main_voltage_V,main_current_A\n" + "".join(f"{t:.4f},{v:.4f},{c:.3f}\n" for t, v, c in rows)
    comma = "# by hand\nZeit [ms];U [V]\r\n" + "".join(
        f"{t * 1e3:.1f};{v:.3f}\r\n".replace(".", ",") for t, v, _ in rows
    )
    clock = "time;U\n" + "".join(f"10:00:00.{round(t * 1000):03d};{v:.3f}\n" for t, v, _ in rows)
    bare = "".join(f"{v:.4f}\n" for v in value)
    made = {
        name: text.encode() for name, text in (("own.csv", own), ("comma.csv", comma), ("clock.csv", clock))
    }
    made["bare.csv"] = bare.encode()
    parquet.write_table(pa.table({"time_s": time, "main_voltage_V": value}), folder / "a.parquet")
    wavfile.write(folder / "whole.wav", 1000, (value / 20.0 * 32000).astype(np.int16))
    wavfile.write(folder / "real.wav", 1000, value.astype(np.float32))
    import h5py

    with h5py.File(folder / "a.h5", "w") as file:
        file["rail"] = value
        file["rail"].attrs["unit"] = "V"
        file["rail"].attrs["dt"] = 1e-3
    made |= {name: (folder / name).read_bytes() for name in ("a.parquet", "whole.wav", "real.wav", "a.h5")}
    for name, content in made.items():
        (folder / name).write_bytes(content)
    return made


def _shown(path: Path, good: bytes, content: bytes) -> str:
    """Which file, and where it first differs."""
    at = next(
        (n for n, (a, b) in enumerate(zip(good, content, strict=False)) if a != b),
        min(len(good), len(content)),
    )
    return (
        f"{path.name}: {len(good)} -> {len(content)} bytes, at {at}: {content[max(0, at - 30) : at + 60]!r}"
    )

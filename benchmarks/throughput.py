"""Readings a second of a real run, through guard and record, beside a bare pyvisa loop.

Both ask one and the same twin, in a process of its own, the same message; the run's procedure asks for
readings more often than they can be had, so that its session is never idle but for what the program does. The
two take turns in one run of this benchmark, and each figure is the median of them. The run also asks for
settings in rotation, records, watches and writes to the disk; the bare loop does nothing with what it reads.

The last line is the smallest of the ratios, one for each reply time of the twin. Where the bare loop reaches
more than the shortest interval of a run allows, the ratio says so. With --busy, all of it runs beside so many
busy loops.

    python -m benchmarks.throughput [--turns 5] [--seconds 3] [--reply-times 0,1] [--busy 0]
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import pyvisa
from benchmarks.busy import beside, busy
from benchmarks.small_bench import set_points_of, write_bench

from railwright.documents.loader import Documents
from railwright.instruments.conversation import split_answers
from railwright.instruments.supply import SupplyDriver
from railwright.running.runner import run
from railwright.twin.launcher import TwinBench
from railwright.twin.server import ReplyTime

OUTPUTS = ("left.1",)


def of_run(documents: Documents, folder: Path) -> float:
    """Readings a second of the hold of a run."""
    outcome = run(documents, set_points_of(OUTPUTS), unit="U", operator="O", folder=folder)
    assert outcome.completed, outcome.cause
    hold = next(span for span in outcome.record.spans if span.name == "steady")
    times = outcome.record.traces["in1"].time
    inside = (times >= hold.start) & (times <= hold.end)
    return float(inside.sum()) / (hold.end - hold.start)


def of_pyvisa(address: str, message: str, seconds: float, answers: int) -> float:
    """Readings a second of a loop that asks, and does nothing with what it is answered."""
    visa = pyvisa.ResourceManager("@py")
    session = visa.open_resource(address, read_termination="\n", write_termination="\n", timeout=2000)
    # As in the run: a supply whose output is on, under the settings that the run left, has more to work out.
    session.write("SOURce:VOLTage 12,(@1);:OUTPut ON,(@1)")  # type: ignore[attr-defined]
    time.sleep(0.5)
    count, begin = 0, time.perf_counter()
    while time.perf_counter() - begin < seconds:
        answer = session.query(message)  # type: ignore[attr-defined]
        count += 1
    took = time.perf_counter() - begin
    session.write("OUTPut OFF,(@1);:SOURce:VOLTage 0,(@1)")  # type: ignore[attr-defined]
    time.sleep(0.5)
    session.close()
    visa.close()
    voltage = float(split_answers(answer)[1])
    assert 11.0 < voltage < 13.0, answer
    assert len(split_answers(answer)) == answers
    return count / took


def compare(folder: Path, reply: float, turns: int, seconds: float, loops: int) -> float:
    """Play both in turns, print what came, and give the ratio of the medians."""
    steps = f"  - power_up: {{order: [in1]}}\n  - {{hold: {seconds:g} s, name: steady}}"
    steps += "\n  - power_down: {order: [in1]}"
    folder.mkdir()
    documents = write_bench(folder, OUTPUTS, steps, every="0.1 ms")
    times = {"left": ReplyTime(message=reply)}
    runs, bare = [], []
    with TwinBench(documents.bench, documents.device, documents.procedure, reply_times=times) as twins:
        documents = replace(documents, bench=twins.bench)
        supply = SupplyDriver("left", twins.bench.supplies["left"], lambda *_: (_ for _ in ()).throw(OSError))
        (message,), answers = supply.look(("1",)), supply.answers_of_look(("1",))
        with busy(loops):
            for turn in range(turns):
                runs.append(of_run(documents, folder / f"run{turn}"))
                bare.append(of_pyvisa(twins.addresses["left"], message, seconds, answers))
    ratio = statistics.median(runs) / statistics.median(bare)
    shown = [", ".join(f"{rate:.0f}" for rate in each) for each in (runs, bare)]
    rates = f"run {shown[0]}; bare pyvisa {shown[1]} readings/s: {ratio:.3f}"
    print(f"{beside(loops)}, reply time {1e3 * reply:g} ms: {rates}")
    return ratio


def main() -> None:
    """Compare at each reply time and print the smallest ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--turns", type=int, default=5)
    parser.add_argument("--seconds", type=float, default=3.0, help="of each run and of each loop")
    parser.add_argument("--reply-times", default="0,1", help="of the twin, in ms")
    parser.add_argument("--busy", type=int, default=0, help="loops that run beside")
    given = parser.parse_args()
    ratios = []
    with tempfile.TemporaryDirectory() as name:
        for number, reply in enumerate(given.reply_times.split(",")):
            folder = Path(name) / str(number)
            ratios.append(compare(folder, 1e-3 * float(reply), given.turns, given.seconds, given.busy))
    print(f"readings a second, run / bare pyvisa, at its worst: {min(ratios):.3f}")


if __name__ == "__main__":
    main()

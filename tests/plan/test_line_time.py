"""What a serial line lets through is known from its rate: what check says of it holds in the run, over a twin
behind a line that takes the time of every byte; in virtual time.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.running.stage import BENCH, Stage, points

from railwright.plan.line_time import exchange_time, link_time, reading_time
from railwright.plan.stairs import exchange_of

DEVICE = """\
device: Lamp of the tide gauge
inputs:
  main:
    nominal: 12 V
    operating: 0 V .. 15 V
    return: isolated
    load: [{resistor: {resistance: 24 ohm}}]
"""

PROCEDURE = """\
procedure: Stairs over a line
device: piece.device.yaml
bench: quay.bench.yaml
hook_up:
  main: {from: left.1, lead: pair, sense: at terminals}
limits:
  main: {current_limit: 1 A, at_limit: trip, trip_delay: 20 ms, ovp: 20 V}
steps:
  - power_up: {order: [main], settle: 500 ms}
  - shape: {input: main, segments: [{line_to: 6 V, over: OVER}]}
    name: line
  - hold: 1 s
  - power_down: {order: [main]}
record: {every: 20 ms}
"""


def bench_at(baud: int) -> str:
    line = f"ASRL/dev/ttyS0::INSTR\n    line: {{baud: {baud}}}"
    return BENCH.replace("TCPIP::127.0.0.1::5025::SOCKET", line)


@pytest.mark.parametrize("over", ["1 s", "2.3 s"])
@pytest.mark.parametrize("baud", [9600, 19200, 57600, 115200])
def test_stairs_over_a_line_come_as_late_as_check_says(baud: int, over: str, tmp_path: Path) -> None:
    stage = Stage(tmp_path, DEVICE, PROCEDURE.replace("OVER", over), bench=bench_at(baud))
    bench = stage.documents.bench
    apart = exchange_of([points("main", "left.1", 1.0, 20.0).names[0]], bench)
    outcome = stage.run({"main": points("main", "left.1", 1.0, 20.0)})
    span = next(each for each in outcome.record.spans if each.name == "line")

    assert span.left_out == 0
    assert span.late <= apart


def test_it_is_what_its_messages_take(tmp_path: Path) -> None:
    bench = Stage(tmp_path, DEVICE, PROCEDURE.replace("OVER", "1 s"), bench=bench_at(9600)).documents.bench
    left, right = bench.supplies["left"], bench.supplies["right"]
    # Ten bits a byte: 90 bytes to set and verify, 405 to read both outputs.
    assert exchange_time(left) == pytest.approx(90 * 10 / 9600)
    assert link_time(left) == pytest.approx(exchange_time(left) + 405 * 10 / 9600)
    assert link_time(right) == 0.0
    assert reading_time(left, ["1"]) < reading_time(left, ["1", "2"])

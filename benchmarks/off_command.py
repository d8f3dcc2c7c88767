"""`railwright off`: from the start of the command to the first OFF at the instrument, over TCP.

Three cases: no run holds the bench; the guard of a run holds it; that guard hangs (SIGSTOP), so that it is
asked for 0.3 s before the command speaks for itself. Each idle and beside four busy loops. The bench is the
example's. Beside the time stands the processor time that the command took for it, which no other load on the
machine changes much. The last line is the slowest of each; the bound is 1 s.

    python -m benchmarks.off_command [--runs 10]
"""

from __future__ import annotations

import argparse
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import suppress
from pathlib import Path

from benchmarks.busy import beside, busy

from railwright.examples import example
from railwright.guard.link import GuardLost
from railwright.guard.process_link import ProcessLink
from railwright.running.off_bench import plan_of, read_bench

BENCH = example() / "quay.bench.yaml"
BOUND = 1.0
"""The first OFF is to go out within this [s]."""

BUSY_LOOPS = 4
CASES = ("no run", "a run's guard", "a guard that hangs")


class Instrument:
    """Answers every question with who it is, and notes when OFF first came."""

    def __init__(self) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        self.off_at: float | None = None
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._server.accept()
            except OSError:
                return
            threading.Thread(target=self._serve, args=(client,), daemon=True).start()

    def _serve(self, client: socket.socket) -> None:
        with suppress(OSError), client, client.makefile("rb") as lines:
            for line in lines:
                if b" OFF" in line and self.off_at is None:
                    self.off_at = time.perf_counter()
                if b"?" in line:
                    client.sendall(f"Bench,M-1,{self.port},0\n".encode())

    def close(self) -> None:
        self._server.close()


def once(case: str) -> tuple[float, float]:
    """From the start of the command to the first OFF, and its processor time until then [s]."""
    instruments = [Instrument(), Instrument()]
    folder = Path(tempfile.mkdtemp(prefix="rw"))
    os.environ["RAILWRIGHT_RUNTIME"] = str(folder)
    text = BENCH.read_text("utf-8")
    for written, instrument in zip(("5025", "5026"), instruments, strict=True):
        text = text.replace(f"::{written}::", f"::{instrument.port}::")
    bench = folder / "quay.bench.yaml"
    bench.write_text(text, "utf-8")
    link = None
    try:
        if case != "no run":
            supplies = read_bench(text, folder)
            link = ProcessLink()
            for supply in supplies:
                link.open(supply.name, supply.address, "*IDN?", 10.0)
            link.arm(plan_of(supplies, frozenset(o.name for each in supplies for o in each.outputs)))
            if case == "a guard that hangs":
                os.kill(link.pid, signal.SIGSTOP)
        began = time.perf_counter()
        command = subprocess.Popen(
            [sys.executable, "-m", "railwright", "off", str(bench)], stdout=subprocess.DEVNULL
        )
        while any(instrument.off_at is None for instrument in instruments):
            if time.perf_counter() - began > 30.0:
                raise SystemExit(f"{case}: no OFF within 30 s")
            if link is not None and case == "a run's guard":
                with suppress(GuardLost):
                    link.sleep(0.002)
            else:
                time.sleep(0.002)
        command.kill()
        used = os.wait4(command.pid, 0)[2]
        command.returncode = -signal.SIGKILL
        took = max(instrument.off_at or 0.0 for instrument in instruments) - began
        return took, used.ru_utime + used.ru_stime
    finally:
        if link is not None:
            with suppress(ProcessLookupError):
                os.kill(link.pid, signal.SIGKILL)
            link.close()
        for instrument in instruments:
            instrument.close()
        shutil.rmtree(folder, ignore_errors=True)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=10)
    runs = parser.parse_args().runs
    print(f"load of the machine before: {os.getloadavg()[0]:.1f}")
    slowest = []
    for loops in (0, BUSY_LOOPS):
        with busy(loops):
            for case in CASES:
                found = [once(case) for _ in range(runs)]
                times, used = sorted(took for took, _ in found), sorted(used for _, used in found)
                shown = f"median {times[len(times) // 2]:.3f} s, slowest {times[-1]:.3f} s"
                busy_for = f"processor {used[len(used) // 2]:.3f} s"
                print(f"{beside(loops)}, {case}: {shown} of {runs}; {busy_for}", flush=True)
                slowest.append(f"{times[-1]:.3f}")
    print(f"slowest {' '.join(slowest)} s; bound {BOUND:g} s")


if __name__ == "__main__":
    main()

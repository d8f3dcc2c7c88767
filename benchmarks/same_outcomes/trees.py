"""A tree's workers: processes of its own that all take from one queue of requests."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any

ROOT = Path(__file__).resolve().parents[2]

Answer = dict[str, Any]
Request = dict[str, Any]


class Worker:
    """One process in which a tree's program runs, in its folder."""

    def __init__(self, source: Path, folder: Path, warm: Sequence[Sequence[str]]) -> None:
        runtime = folder / "rt"
        runtime.mkdir(exist_ok=True)
        environment = {
            **os.environ,
            "PYTHONPATH": str(source),
            "PYTHONHASHSEED": "0",
            "RAILWRIGHT_RUNTIME": str(runtime),
            "OPENBLAS_NUM_THREADS": "1",
        }
        module = "benchmarks.same_outcomes.worker"
        self._process = subprocess.Popen(
            [sys.executable, "-m", module, str(folder), json.dumps(list(warm))],
            cwd=ROOT,
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            encoding="utf-8",
        )
        tree = Path(self._read()["tree"])
        if tree != source:
            self.close()
            sys.exit(f"expected the program of {source}, got that of {tree}")

    def ask(self, request: Request) -> Answer:
        """What a request comes to."""
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(request) + "\n")
        self._process.stdin.flush()
        return self._read()

    def _read(self) -> Answer:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line:
            raise RuntimeError(f"a worker ended with {self._process.wait()} where an answer was expected")
        answer: Answer = json.loads(line)
        return answer

    def close(self) -> None:
        """End the process."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait()


class Tree:
    """A source tree with so many workers. source: the folder that holds `railwright`."""

    def __init__(self, source: Path, folder: Path, workers: int, warm: Sequence[Sequence[str]]) -> None:
        self.source, self.folder = Path(os.path.abspath(source)), folder
        if not (self.source / "railwright" / "__init__.py").is_file():
            sys.exit(f"{source}: expected the folder that holds 'railwright', such as src")
        # One after another: what the first compiles, the next find in the cache.
        self._workers = [Worker(self.source, folder, warm) for _ in range(workers)]

    def ask(self, request: Request) -> Answer:
        """One request, by the first worker."""
        return self._workers[0].ask(request)

    def ask_all(self, requests: Iterable[Request], told: Callable[[int, Answer], None]) -> None:
        """All requests, spread over the workers; `told` gets each one's number and answer as it comes."""
        waiting: SimpleQueue[tuple[int, Request]] = SimpleQueue()
        for pair in enumerate(requests):
            waiting.put(pair)

        def work(worker: Worker) -> None:
            while True:
                try:
                    number, request = waiting.get_nowait()
                except Empty:
                    return
                told(number, worker.ask(request))

        with ThreadPoolExecutor(len(self._workers)) as pool:
            for done in [pool.submit(work, worker) for worker in self._workers]:
                done.result()

    def close(self) -> None:
        """End all workers."""
        for worker in self._workers:
            worker.close()

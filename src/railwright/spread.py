"""The chunks of an ensemble spread over this machine's cores, or over the workers of a Dask cluster.

Results come one after another in the order of the chunks, whatever order they were played in, so that their
sum is the same bytes everywhere. A few chunks are on their way at a time: memory does not grow with cases.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TYPE_CHECKING, Any

from railwright.rehearsal.ensemble import play_chunk

if TYPE_CHECKING:
    from railwright.rehearsal.ensemble import CaseBlock, Ensemble, EnsemblePlan

AHEAD = 3
"""Chunks on their way for each worker."""


ANSWERS_WITHIN = "10s"
"""How long a scheduler may take to answer."""


class ClusterError(RuntimeError):
    """A cluster that cannot be reached or cannot be used; one sentence says why."""


def over_threads(plan: EnsemblePlan, workers: int | None = None) -> Iterator[Ensemble]:
    """Play all chunks in threads of this process; the compiled loop releases the interpreter's lock."""
    workers = workers or os.cpu_count() or 1
    with ThreadPoolExecutor(workers) as pool:

        def start(chunk: int) -> Future[Ensemble]:
            return pool.submit(play_chunk, plan, chunk)

        yield from _in_order(start, plan.design.chunks, AHEAD * workers)


def blocks_over_threads(
    play: Callable[[CaseBlock], None], blocks: Sequence[CaseBlock], workers: int | None = None
) -> Iterator[None]:
    """Play blocks of cases in threads of this process; a `run` of `play_values`."""
    with ThreadPoolExecutor(workers or os.cpu_count() or 1) as pool:
        yield from pool.map(play, blocks)


def over_cluster(plan: EnsemblePlan, scheduler: str) -> Iterator[Ensemble]:
    """Play all chunks on the workers of a Dask cluster, whose scheduler listens at this address.

    The chunks of a lost worker are played by others. Raises ClusterError where the scheduler does not answer
    or no worker takes the work.
    """
    try:
        from distributed import Client
    except ImportError:
        raise ClusterError("expected the package 'distributed'; install 'railwright[cluster]'") from None
    try:
        client: Any = Client(scheduler, timeout=ANSWERS_WITHIN)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as error:
        raise ClusterError(
            f"no Dask scheduler answers at {scheduler} ({error or type(error).__name__})"
        ) from None
    with client:
        threads = sum(
            worker["nthreads"] for worker in client.scheduler_info(n_workers=-1)["workers"].values()
        )
        if not threads:
            raise ClusterError(f"the Dask scheduler at {scheduler} has no workers")

        def start(chunk: int) -> Any:
            # The plan travels with each chunk: small, and nothing that a lost worker could take with it.
            return client.submit(play_chunk, plan, chunk, pure=False, retries=2)

        yield from _in_order(start, plan.design.chunks, AHEAD * threads)


def _in_order(start: Callable[[int], Any], chunks: int, most: int) -> Iterator[Ensemble]:
    """Start chunks in their order, at most so many at a time, and give back their results in that order."""
    waiting: deque[Any] = deque()
    for chunk in range(chunks):
        waiting.append(start(chunk))
        if len(waiting) >= most:
            yield waiting.popleft().result()
    while waiting:
        yield waiting.popleft().result()

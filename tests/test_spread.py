"""Chunks over a Dask cluster: the same result as in this process, also when a worker is killed."""

from __future__ import annotations

import os
import pickle
import signal

import pytest
from distributed import LocalCluster
from tests.rehearsal.scene import PROCEDURE, short

from railwright.documents.loader import load_documents
from railwright.documents.output_name import OutputName
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.rehearsal.design import CHUNK
from railwright.rehearsal.ensemble import merged, plan_ensemble
from railwright.spread import ClusterError, over_cluster, over_threads

TRANSDUCER = Feed(
    "transducer",
    "alone",
    (OutputSetPoints(OutputName("right.1"), 0.1, "trip", 0.06, 32.0),),
    "thin pair",
    "at terminals",
)


@pytest.fixture
def cluster():
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as made:
        yield made


def test_a_killed_worker_costs_its_share_and_not_the_result(cluster):
    documents = load_documents(PROCEDURE)
    plan = plan_ensemble(
        documents, {"transducer": TRANSDUCER}, 10 * CHUNK, timeline=short(documents), tail=0.01
    )
    killed: list[int] = []

    def kill_one(seen):
        if not killed and seen.played >= 3 * CHUNK:
            killed.append(next(iter(cluster.workers.values())).pid)
            os.kill(killed[0], signal.SIGKILL)

    spread = merged(over_cluster(plan, cluster.scheduler_address), kill_one)
    assert killed
    assert spread.played == 10 * CHUNK
    assert pickle.dumps(spread) == pickle.dumps(merged(over_threads(plan)))


def test_a_scheduler_that_does_not_answer_is_one_sentence(monkeypatch):
    monkeypatch.setattr("railwright.spread.ANSWERS_WITHIN", "1s")
    documents = load_documents(PROCEDURE)
    plan = plan_ensemble(documents, {"transducer": TRANSDUCER}, 8, timeline=short(documents))
    with pytest.raises(ClusterError, match="Dask scheduler"):
        next(over_cluster(plan, "tcp://127.0.0.1:9"))

"""What a run rests on, of what a dialect has to be proved for: of each output that it uses."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from railwright.dialects.proofs import InstrumentModel, Proof, Provoked, provokable
from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.plan.linking import own_links
from railwright.plan.set_points import OutputSetPoints, SetPoints


@dataclass(frozen=True, slots=True)
class ProofNeed:
    """One output of a run: what its dialect was proved to do there, and what it was not."""

    output: OutputName
    instrument: InstrumentModel
    proved: Mapping[Provoked, Proof]
    missing: tuple[Provoked, ...]

    def as_data(self) -> dict[str, object]:
        """As a run's record and its report have it."""
        proved = {
            name: {"at": proof.at, "by": proof.by, "how": proof.how, "dialect": proof.digest}
            for name, proof in self.proved.items()
        }
        return {
            "output": str(self.output),
            "model": self.instrument.model,
            "version": self.instrument.version,
            "proved": proved,
            "missing": list(self.missing),
        }


def needed_proofs(bench: Bench, set_points: SetPoints) -> dict[OutputName, tuple[Provoked, ...]]:
    """Each output in use -> what has to be proved for it: that it goes on and off and regulates, each trip
    that is used and that a command sets, also one that follows another output's, and its slew where the bench
    gives one: then every set point goes with it. What a person sets rests on no word of the dialect.
    """
    links = own_links(set_points, bench)
    return {
        points.output: _needed(bench, points, points.output in links)
        for feed in set_points.values()
        for points in feed.outputs
    }


def _needed(bench: Bench, points: OutputSetPoints, linked: bool) -> tuple[Provoked, ...]:
    slewed = bench.output(points.output).slew is not None
    used: dict[Provoked, bool] = {
        "OVP": math.isfinite(points.ovp),
        "current limit": points.at_limit == "trip",
        "OPP": math.isfinite(points.opp),
        "OCP": math.isfinite(points.ocp),
        "linked": linked,
        "rising slew": slewed,
        "falling slew": slewed,
    }
    can = provokable(bench.supply_of(points.output).dialect)
    return tuple(each for each in can if used.get(each, True))

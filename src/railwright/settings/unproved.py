"""Dialects that nobody has proved at the supplies of the bench, as far as the documents tell.

Which instrument answers is known to the run alone: it decides anew, by what the instrument says of itself.
"""

from __future__ import annotations

from collections.abc import Iterator

from railwright.dialects.proofs import Proofs, Provoked
from railwright.documents.address import is_of_this_computer
from railwright.documents.bench import Supply
from railwright.documents.loader import Documents
from railwright.documents.output_name import OutputName
from railwright.plan.needed_proofs import needed_proofs
from railwright.plan.set_points import SetPoints
from railwright.quantities import state
from railwright.settings.engine_rules import DIALECT_UNPROVED
from railwright.settings.findings import Finding, Severity
from railwright.settings.overrides import override


def unproved_findings(documents: Documents, set_points: SetPoints, proofs: Proofs) -> list[Finding]:
    """A stop for each supply whose dialect lacks a proof that the set points need, with the procedure's
    overrides. An address of this computer says nothing: simulated supplies answer there.
    """
    return override(list(_findings(documents, set_points, proofs)), documents, [DIALECT_UNPROVED])


def _findings(documents: Documents, set_points: SetPoints, proofs: Proofs) -> Iterator[Finding]:
    bench = documents.bench
    needed = needed_proofs(bench, set_points)
    # An output that the procedure names by itself is a finding by itself, which it may accept.
    named = {each.about for each in documents.procedure.overrides if each.finding == DIALECT_UNPROVED}
    for name in dict.fromkeys(output.supply for output in needed):
        supply = bench.supplies[name]
        if is_of_this_computer(supply.address):
            continue
        wanted = {output: each for output, each in needed.items() if output.supply == name}
        lacks = _lacks(supply, wanted, proofs)
        parts = {str(output): {output: each} for output, each in lacks.items() if output in named}
        if others := {output: each for output, each in lacks.items() if output not in named}:
            parts[name] = others
        for about, part in parts.items():
            yield Finding(
                DIALECT_UNPROVED,
                Severity.STOP,
                about,
                documents.where("bench", ("supplies", name, "dialect")),
                state(
                    "dialect '{dialect}' is not proved on {model}: {lacks}",
                    dialect=supply.dialect.name,
                    model=supply.model or "this supply, whose model is not given",
                    lacks="; ".join(f"{output}: {', '.join(each)}" for output, each in part.items()),
                ),
                "provoke them with 'railwright dialect try … --provoke' or 'railwright prove', or accept it "
                "with a reason; on simulated supplies ('--twins') it does not count",
            )


def _lacks(
    supply: Supply, wanted: dict[OutputName, tuple[Provoked, ...]], proofs: Proofs
) -> dict[OutputName, tuple[Provoked, ...]]:
    """What is not proved of each output, for the instrument of this model of which the most is."""
    missing = (
        {
            output: proofs.missing(supply.dialect, instrument, supply.channels[output.output], each)
            for output, each in wanted.items()
        }
        for instrument in proofs.instruments(supply.model)
    )
    best = min((wanted, *missing), key=lambda lacks: sum(map(len, lacks.values())))
    return {output: each for output, each in best.items() if each}

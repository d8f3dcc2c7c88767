"""Whether the dialects were proved at the very instruments that answer; asked when they have said who they
are, before anything is told to them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from railwright.dialects.proofs import PROVOKED, Proofs
from railwright.plan.needed_proofs import ProofNeed, needed_proofs
from railwright.running.rig import Rig


class NotProved(Exception):
    """A dialect that nobody has proved at the instrument that answered; one line for people."""


def proof_needs(rig: Rig, proofs: Proofs) -> list[ProofNeed]:
    """What the run rests on, output by output, with what of that is proved; none of a simulated supply. The
    supplies were identified.
    """
    needs = []
    for output, needed in needed_proofs(rig.bench, rig.set_points).items():
        supply = rig.supplies[output.supply]
        assert supply.identity is not None, "asked after they were identified"
        if supply.identity.simulated:
            continue
        instrument, channel = supply.identity.instrument, supply.channel(output.output)
        found = proofs.of(supply.dialect, instrument, channel)
        proved = {name: found[name] for name in PROVOKED if name in needed and name in found}
        missing = tuple(name for name in needed if name not in found)
        needs.append(ProofNeed(output, instrument, proved, missing))
    return needs


def expect_proved(needs: Sequence[ProofNeed], accepted: Mapping[str, str]) -> list[str]:
    """Cautions about what is not proved and accepted. accepted: supply, or one of its outputs -> the reason
    for which the procedure accepts it. NotProved where one is not accepted.
    """
    lacking = [need for need in needs if need.missing]
    refused = [need for need in lacking if not {need.output, need.output.supply} & accepted.keys()]
    if refused:
        told = "; ".join(f"{each.output} ({each.instrument}): {', '.join(each.missing)}" for each in refused)
        raise NotProved(
            f"the dialect is not proved on the instrument that answers: {told}. Provoke these "
            "with 'railwright dialect try … --provoke' or 'railwright prove', or accept the finding "
            "'dialect-unproved' with a reason"
        )
    return [
        f"{each.output}: {', '.join(each.missing)} of its dialect not proved on {each.instrument}, accepted: "
        f"{accepted[each.output if each.output in accepted else each.output.supply]}"
        for each in lacking
    ]

"""The disagreement hunt: whole benches, devices and procedures are drawn, and what is said of a fact in one
place is compared with what is said of it in every other.

    python -m benchmarks.disagreements [--draws 2000] [--first 0] [--seed 1] [--shown 20]
    python -m benchmarks.disagreements --put-back [--draws 500]

Compared are the check's settings, the rehearsal at exactly what is true behind simulated supplies, what
`waveform` says of its edges, the run on them in virtual time, its evaluation and its report: trips (which
input, which protection, when), starts, stops and restarts of loads, voltage and current over time, durations
of steps, who is energised when, outcomes and values of requirements. `comparing.py` says how far apart two of
them may be. The last line says how many draws were played and how many disagreements are left; the exit code
is 1 where there is one.

`--put-back` puts mended faults back one at a time (`mutations.py`), and says after how many draws each is
found: a draw then has a disagreement that it has not without the fault.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import traceback
from collections import Counter
from pathlib import Path

from benchmarks.disagreement_hunt.comparing import Disagreement, disagreements
from benchmarks.disagreement_hunt.drawing import draw
from benchmarks.disagreement_hunt.mutations import FAULTS, put_back
from benchmarks.disagreement_hunt.playing import NotPlayed, play


def hunt(seed: int, number: int) -> list[Disagreement] | str:
    """The disagreements of one draw, or why it was not played."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            return list(disagreements(play(draw(seed, number), Path(folder))))
        except NotPlayed as error:
            return str(error).splitlines()[0]
        except Exception as error:  # noqa: BLE001 - whatever it is, it is a fault, and the hunt goes on
            where = traceback.extract_tb(error.__traceback__)[-1]
            told = f"{type(error).__name__}: {error}"
            return [Disagreement("traceback", f"{Path(where.filename).name}:{where.lineno}", told, "none")]


def mutations(seed: int, first: int, draws: int) -> int:
    """Put every fault back until it is found; 1 where one is not."""
    plain: dict[int, set[tuple[str, str]]] = {}
    found = 0
    for words in FAULTS:
        after = None
        for number in range(first, first + draws):
            if plain.get(number) == REFUSED:
                continue
            with put_back(words):
                faulty = _facts(hunt(seed, number))
            if faulty == REFUSED or not faulty:
                continue
            # Only where there is something to tell apart is the draw played without the fault as well.
            if number not in plain:
                plain[number] = _facts(hunt(seed, number))
            if new := faulty - plain[number] if plain[number] != REFUSED else set():
                after = number - first + 1
                print(
                    f"found after {after} draws ({', '.join(sorted(fact for fact, _ in new))}): {words}",
                    flush=True,
                )
                break
        if after is None:
            print(f"NOT FOUND in {draws} draws: {words}", flush=True)
        found += after is not None
    print(f"{found} of {len(FAULTS)} mended faults are found within {draws} draws")
    return 0 if found == len(FAULTS) else 1


REFUSED = {("not played", "")}
"""What a draw that was not played comes to."""


def _facts(found: list[Disagreement] | str) -> set[tuple[str, str]]:
    """Which facts of what disagree, without those that timing explains."""
    if isinstance(found, str):
        return REFUSED
    return {(each.fact, each.about) for each in found if not each.explained}


def main() -> int:
    """Draw, play, compare, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--draws", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--shown", type=int, default=20, help="disagreements of a kind that are shown in full"
    )
    parser.add_argument("--put-back", action="store_true", help="put mended faults back, one at a time")
    given = parser.parse_args()
    if given.put_back:
        return mutations(given.seed, given.first, given.draws)
    refused, kinds, played, left, explained = Counter[str](), Counter[str](), 0, 0, 0
    for number in range(given.first, given.first + given.draws):
        found = hunt(given.seed, number)
        if isinstance(found, str):
            refused[found.partition(":")[0]] += 1
            continue
        played += 1
        for each in found:
            if each.explained:
                explained += 1
                continue
            left += 1
            kinds[each.fact] += 1
            if kinds[each.fact] <= given.shown:
                print(f"{given.seed}/{number}: {each}", flush=True)
    print("not played: " + ", ".join(f"{count} {why}" for why, count in refused.most_common()))
    print("disagreements: " + (", ".join(f"{count} {fact}" for fact, count in kinds.most_common()) or "none"))
    print(f"{played} of {given.draws} draws played, {explained} explained by timing, {left} disagreements")
    return 1 if left or not played else 0


if __name__ == "__main__":
    sys.exit(main())

"""The disagreement hunt: whole benches, devices and procedures are drawn, and what is said of a fact in one
place is compared with what is said of it in every other.

    python -m benchmarks.disagreements [--draws 2000] [--first 0] [--seed 1] [--shown 20] [--processes 2]
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
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from itertools import repeat
from multiprocessing import get_context
from pathlib import Path

from benchmarks.disagreement_hunt.comparing import Disagreement, disagreements
from benchmarks.disagreement_hunt.drawing import draw
from benchmarks.disagreement_hunt.mutations import FAULTS, put_back, watched
from benchmarks.disagreement_hunt.playing import NotPlayed, play


@dataclass(frozen=True)
class Hunted:
    """What came of a draw: refused says why it was not played; matters: faults that, put back, would have
    made a call come out otherwise in it.
    """

    number: int
    found: tuple[Disagreement, ...] = ()
    refused: str = ""
    matters: frozenset[str] = frozenset()

    @property
    def facts(self) -> set[tuple[str, str]]:
        """Which facts of what disagree, without those that timing explains."""
        return {(each.fact, each.about) for each in self.found if not each.explained}


def hunt(seed: int, number: int) -> Hunted:
    """The disagreements of one draw, or why it was not played."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            return Hunted(number, tuple(disagreements(play(draw(seed, number), Path(folder)))))
        except NotPlayed as error:
            return Hunted(number, refused=str(error).splitlines()[0])
        except Exception as error:  # noqa: BLE001 - whatever it is, it is a fault, and the hunt goes on
            where = traceback.extract_tb(error.__traceback__)[-1]
            told = f"{type(error).__name__}: {error}"
            place = f"{Path(where.filename).name}:{where.lineno}"
            return Hunted(number, (Disagreement("traceback", place, told, "none"),))


def watch(seed: int, number: int) -> Hunted:
    """As `hunt`, and which faults would matter."""
    with watched() as seen:
        found = hunt(seed, number)
    return replace(found, matters=frozenset(words for words, calls in seen.items() if calls))


def first_found(seed: int, words: str, plain: list[Hunted]) -> tuple[int, int, set[str]]:
    """How many of the draws a fault is played in until it is found, the number of the one that finds it (-1:
    none does), and the facts that disagree there and do not without it.
    """
    played = 0
    for each in plain:
        if each.refused or words not in each.matters:
            continue
        played += 1
        with put_back(words):
            faulty = hunt(seed, each.number)
        if new := faulty.facts - each.facts:
            return played, each.number, {fact for fact, _ in new}
    return played, -1, set()


def mutations(seed: int, first: int, draws: int, processes: int) -> int:
    """Put every fault back until it is found; 1 where one is not."""
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        plain = list(pool.map(watch, repeat(seed), range(first, first + draws)))
        asked = {pool.submit(first_found, seed, words, plain): words for words in FAULTS}
        found = 0
        for done in as_completed(asked):
            words = asked[done]
            matters = sum(words in each.matters and not each.refused for each in plain)
            played, number, facts = done.result()
            found += number >= 0
            where = (
                f"found after {number - first + 1} draws" if number >= 0 else f"NOT FOUND in {draws} draws"
            )
            told = f" by {', '.join(sorted(facts))}" if facts else ""
            print(f"{where} ({played} played, it matters in {matters}){told}: {words}", flush=True)
    print(f"{found} of {len(FAULTS)} mended faults are found within {draws} draws")
    return 0 if found == len(FAULTS) else 1


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
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    if given.put_back:
        return mutations(given.seed, given.first, given.draws, given.processes)
    refused, kinds, played, left, explained = Counter[str](), Counter[str](), 0, 0, 0
    with ProcessPoolExecutor(given.processes, mp_context=get_context("spawn")) as pool:
        for hunted in pool.map(hunt, repeat(given.seed), range(given.first, given.first + given.draws)):
            if hunted.refused:
                refused[hunted.refused.partition(":")[0]] += 1
                continue
            played += 1
            for each in hunted.found:
                if each.explained:
                    explained += 1
                    continue
                left += 1
                kinds[each.fact] += 1
                if kinds[each.fact] <= given.shown:
                    print(f"{given.seed}/{hunted.number}: {each}", flush=True)
    print("not played: " + ", ".join(f"{count} {why}" for why, count in refused.most_common()))
    print("disagreements: " + (", ".join(f"{count} {fact}" for fact, count in kinds.most_common()) or "none"))
    print(f"{played} of {given.draws} draws played, {explained} explained by timing, {left} disagreements")
    return 1 if left or not played else 0


if __name__ == "__main__":
    sys.exit(main())

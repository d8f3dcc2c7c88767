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
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from itertools import islice, repeat
from multiprocessing import get_context
from pathlib import Path
from typing import Any

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


def tried(seed: int, number: int, faults: frozenset[str]) -> tuple[Hunted, dict[str, set[str]]]:
    """A draw as it is, and for each of the faults that matter in it the facts that disagree once it is put
    back, and do not without it.
    """
    with watched() as seen:
        plain = hunt(seed, number)
    matters = frozenset(words for words, calls in seen.items() if calls)
    new: dict[str, set[str]] = {}
    for words in sorted(matters & faults if not plain.refused else ()):
        with put_back(words):
            faulty = hunt(seed, number)
        # An error of what stands in for the fault would be a traceback in every draw, and finds nothing.
        new[words] = {fact for fact, _ in faulty.facts - plain.facts} - {"traceback"}
    return replace(plain, matters=matters), new


def mutations(seed: int, first: int, draws: int, processes: int) -> int:
    """Put every fault back, in one draw after another until one finds it; 1 where none does."""
    found: dict[str, tuple[int, set[str]]] = {}
    played, matters = Counter[str](), Counter[str]()
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        numbers, running = iter(range(first, first + draws)), dict[Future[Any], int]()
        while True:
            # Of a fault that is found, draws that are still being played may yet be the first to find it.
            left = frozenset(FAULTS) - found.keys()
            for number in islice(numbers, processes - len(running) if left else 0):
                running[pool.submit(tried, seed, number, left)] = number
            if not running:
                break
            done = next(as_completed(running))
            number = running.pop(done)
            plain, new = done.result()
            matters.update(() if plain.refused else plain.matters)
            played.update(new.keys())
            for words, facts in new.items():
                if facts and number < found.get(words, (number + 1, facts))[0]:
                    found[words] = number, facts
                    print(f"{number}: {words}: {', '.join(sorted(facts))}", flush=True)
    for words in FAULTS:
        number, facts = found.get(words, (-1, set[str]()))
        where = f"found after {number - first + 1} draws" if words in found else f"NOT FOUND in {draws} draws"
        by = f" by {', '.join(sorted(facts))}" if facts else ""
        print(f"{where} ({played[words]} played of {matters[words]} in which it matters){by}: {words}")
    print(f"{len(found)} of {len(FAULTS)} mended faults are found within {draws} draws")
    return 0 if len(found) == len(FAULTS) else 1


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

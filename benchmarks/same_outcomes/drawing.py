"""The jobs: documents drawn from a seed, and the commands that are run on them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from random import Random

from benchmarks.same_outcomes.broken import break_data, break_text
from benchmarks.same_outcomes.documents import Documents, example
from benchmarks.same_outcomes.edits import apply, pairs
from benchmarks.same_outcomes.invented import invented
from benchmarks.same_outcomes.loads import recordings

EXAMPLES = Path(__file__).resolve().parents[2] / "src" / "railwright" / "examples"
TWISTED = "tide-gauge"
"""The example that the twists are written for; of others the figures alone are varied."""

ROUND = 20
"""Jobs in which every sort comes: below, how many of each."""
TWISTED_UP_TO, PLAIN_UP_TO, BROKEN_UP_TO = 11, 12, 14

_FIGURE = re.compile(r"\d+(?:\.\d+)?(?= (?:[mun]?[VAsFWC]|[mk]?ohm|m)\b)")


@dataclass(frozen=True)
class Job:
    """One set of documents: what they are in words, the files, and the commands, as arguments."""

    name: str
    title: str
    files: dict[str, bytes]
    commands: tuple[tuple[str, ...], ...]


def draw(seed: int, number: int) -> Job:
    """The job of this number; it is the same whatever the number of jobs is."""
    dice = Random(f"{seed} {number}")
    turn, place = divmod(number, ROUND)
    if place < TWISTED_UP_TO:
        title, documents = _twisted(dice, seed, turn * TWISTED_UP_TO + place)
    elif place < PLAIN_UP_TO:
        title, documents = _plain(dice)
    elif place < BROKEN_UP_TO:
        broken = turn * (BROKEN_UP_TO - PLAIN_UP_TO) + place - PLAIN_UP_TO
        return _broken(dice, number, broken)
    else:
        title, documents = "invented", invented(dice)
    return _job(dice, number, title, dict(documents.written(dice)))


def _job(dice: Random, number: int, title: str, files: dict[str, bytes]) -> Job:
    procedure = f"{number:03d}/procedure.yaml"
    commands: list[tuple[str, ...]] = [("check", procedure, "--json"), ("rehearse", procedure, "--json")]
    match dice.randrange(24):
        case 0 | 1:
            commands.append(("check", procedure, "--static", "--json"))
        case 2 | 3:
            commands.append(("rehearse", procedure, "--case", dice.choice(("low", "high")), "--json"))
        case 4:
            commands.append(("rehearse", procedure, "--faults", "--json"))
        case 5:
            commands.append(("rehearse", procedure, "--cases", "6", "--seed", str(number), "--json"))
    return Job(f"{number:03d}", title, files, tuple(commands))


def _twisted(dice: Random, seed: int, number: int) -> tuple[str, Documents]:
    """The example with one or two twists, the next of the seed's order."""
    documents = _example(dice, TWISTED)
    known = pairs(seed)
    chosen = known[number % len(known)]
    for _, *edits in chosen:
        apply(documents, dice, tuple(edits))
    return " + ".join(twist[0] for twist in chosen), documents


def _plain(dice: Random) -> tuple[str, Documents]:
    """An example with other figures: what is well within its limits stays so."""
    name = dice.choice(sorted(path.name for path in EXAMPLES.iterdir() if any(path.glob("*.procedure.yaml"))))
    documents = _example(dice, name)
    loads = [part for each in documents.device["inputs"].values() for part in each["load"]]
    for part in (*loads, *documents.bench["leads"].values()):
        for key, value in part.items():
            if isinstance(value, dict):
                part[key] = {name: _wobbled(dice, text) for name, text in value.items()}
            elif key != "conductor":
                part[key] = _wobbled(dice, value)
    return f"example {name}", documents


def _wobbled(dice: Random, text: object) -> object:
    """The figures of a text by up to 2 % off, all by the same: a range stays a range."""
    if not isinstance(text, str):
        return text
    factor = dice.uniform(0.98, 1.02)
    return _FIGURE.sub(lambda found: f"{factor * float(found[0]):.4g}", text)


def _example(dice: Random, name: str) -> Documents:
    documents = example(EXAMPLES / name)
    documents.files |= recordings(dice, 12.0)
    return documents


def _broken(dice: Random, number: int, broken: int) -> Job:
    """Documents with a mistake: of what they say, or of how they are written."""
    documents = invented(dice) if dice.random() < 0.5 else _example(dice, TWISTED)
    if broken % 3 < 2:
        break_data(documents, dice, broken - broken // 3)
        files = dict(documents.written(dice))
    else:
        files = dict(documents.written(dice))
        which = dice.choice(("device", "bench", "procedure"))
        files[f"{which}.yaml"] = break_text(files[f"{which}.yaml"], dice)
    return _job(dice, number, "refused", files)

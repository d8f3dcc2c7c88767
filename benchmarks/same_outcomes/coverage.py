"""How often each rule, measure, load and dialect occurs in the jobs, and which never do."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from benchmarks.same_outcomes.comparing import Outcome
from benchmarks.same_outcomes.documents import loaded
from ruamel.yaml.error import YAMLError


class Coverage:
    """Counts of what occurs: of documents by what is written in them, of rules by findings."""

    def __init__(self) -> None:
        self.counts: dict[str, Counter[str]] = {
            kind: Counter()
            for kind in ("rules", "measures", "loads", "dialects", "exit codes", "outcomes of requirements")
        }

    def add_documents(self, files: Mapping[str, bytes]) -> None:
        """Count what the documents of a job name, each once; documents that cannot be read say nothing."""
        for name, key in (("bench", "dialect"), ("procedure", "measure")):
            self._count(f"{key}s", set(_values(_tree(files[f"{name}.yaml"]), key)))
        device = _tree(files["device.yaml"])
        self._count("loads", {kind for part in _values(device, "load") for each in part for kind in each})

    def add_outcome(self, outcome: Outcome) -> None:
        """Count the rules of a check's findings, each once, the exit code, and outcomes of requirements."""
        self.counts["exit codes"][str(outcome.code)] += 1
        data = outcome.data if isinstance(outcome.data, dict) else {}
        self._count("rules", {finding["rule"] for finding in data.get("findings", ())})
        evaluation = data.get("evaluation", data)
        requirements = evaluation.get("requirements", ()) if isinstance(evaluation, dict) else ()
        self.counts["outcomes of requirements"].update(each["outcome"] for each in requirements)

    def _count(self, kind: str, words: Iterable[Any]) -> None:
        self.counts[kind].update(word for word in words if isinstance(word, str))

    def lines(self, known: Mapping[str, Sequence[str]]) -> Iterator[str]:
        """For people. known: what the tree has of each kind."""
        for kind, counts in self.counts.items():
            shown = ", ".join(f"{word} {count}" for word, count in sorted(counts.items()))
            yield f"{kind}: {shown or 'none'}"
            missing = [word for word in known.get(kind, ()) if word not in counts]
            if counts and missing:
                yield f"{kind} that never occur: {', '.join(missing)}"


def _tree(content: bytes) -> Any:
    try:
        return loaded(content.decode())
    except (UnicodeDecodeError, YAMLError):  # broken on purpose
        return None


def _values(tree: Any, key: str) -> Iterator[Any]:
    """Every value of this key, at any depth."""
    if isinstance(tree, dict):
        for name, value in tree.items():
            if name == key:
                yield value
            yield from _values(value, key)
    elif isinstance(tree, list):
        for part in tree:
            yield from _values(part, key)

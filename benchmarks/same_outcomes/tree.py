"""What is used of a tree's own modules: whole runs on simulated supplies, and the names of what there is.

A tree in which a thing has moved: add its new place to `PLACES`, and leave the old one, which the other tree
has.
"""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any

PLACES: dict[str, tuple[str, ...]] = {
    "check_documents": ("railwright.cli.checking",),
    "run": ("railwright.running.runner",),
    "as_data": ("railwright.settings.data",),
    "StopRequest": ("railwright.running.interruption",),
    "Progress": ("railwright.running.outcome",),
    "VirtualLoop": ("railwright.virtual_time",),
    "VirtualNetwork": ("railwright.twin.virtual_network",),
    "LocalLink": ("railwright.guard.local_link",),
    "Trigger": ("railwright.twin.recorder",),
    "parse_mischief": ("railwright.twin.mischief.script",),
    "known_rules": ("railwright.settings.overrides",),
    "MEASURES": ("railwright.measures", "railwright.evaluation.measures"),
    "LOAD_MODELS": ("railwright.physics.loads",),
    "dialect_names": ("railwright.dialects.files", "railwright.instruments.dialect"),
}
"""Name -> the modules that may hold it, the newest first."""


def its(name: str) -> Any:
    """What the tree calls so. ImportError where none of its places is there."""
    for place in PLACES[name]:
        try:
            return getattr(importlib.import_module(place), name)
        except (ModuleNotFoundError, AttributeError):
            continue
    raise ImportError(f"'{name}' is in none of {', '.join(PLACES[name])}: add its place to {__name__}.PLACES")


def vocabulary() -> dict[str, list[str]]:
    """Every rule, measure, load and dialect that the tree has."""
    return {
        "rules": sorted(its("known_rules")()),
        "measures": list(its("MEASURES")),
        "loads": list(its("LOAD_MODELS")),
        "dialects": list(its("dialect_names")()),
    }


def play(request: dict[str, Any]) -> int:
    """A whole run in virtual time, from documents to a folder.

    request: `procedure` and `folder` (paths), `seed` and `true` of the twins (see `railwright twin`),
    `mischief` (lines of a script), `stop_at` (the step at whose beginning a person stops the run, or ''),
    `recorder` and `trigger` (what an external recorder captures, and into `capture`; or '').
    """
    documents = (checked := its("check_documents")(Path(request["procedure"]), rehearsed=False)).documents
    loop, stop = its("VirtualLoop")(), its("StopRequest")()

    class Person(its("Progress")):  # type: ignore[misc]
        """Somebody who stops the run at a step."""

        def step_started(self, span: Any, position: int) -> None:
            if span.name == request["stop_at"]:
                stop.request("a person stopped it")

    network = its("VirtualNetwork")(
        loop,
        documents.bench,
        documents.device,
        documents.procedure,
        seed=request["seed"],
        overrides=request["true"],
        mischief=its("parse_mischief")(request["mischief"], documents.bench.supplies),
    )
    with network as net:
        # What the check finds does not keep this run back: the twins may be tripped on purpose.
        outcome = its("run")(
            documents,
            checked.settings.set_points,
            unit="SAME-1",
            operator="Nobody",
            folder=Path(request["folder"]),
            settings=its("as_data")(checked.settings),
            link=its("LocalLink")(loop, net.connect),
            progress=Person(),
            stop=stop,
            decay_limit=2.0,
            wait_for_lost=2.0,
        )
        if request["recorder"]:
            trigger = its("Trigger")(*request["trigger"])
            net.record(request["recorder"], trigger, Path(request["capture"]))
    print(f"{outcome.ended}: {outcome.cause}")
    return 0

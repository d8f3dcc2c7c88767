"""The true figures behind simulated supplies: shown, and kept as JSON, to be compared with an evaluation."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

    from railwright.twin.launcher import TwinBench
    from railwright.twin.truth import TrueValue
    from railwright.twin.virtual_network import VirtualNetwork


def print_truth(out: Console, twins: TwinBench) -> None:
    """Parameters of the circuit, and errors of the outputs, each with what the documents allow."""
    from railwright.cli.console import table
    from railwright.quantities import show

    columns = ("Name", "True", "Nominal", "Allowed by the documents")
    if twins.parameters:
        rows = [
            (name, show(true.value, true.unit), show(true.nominal, true.unit), _allowed(true))
            for name, true in twins.parameters.items()
        ]
        out.print(table("True parameters", columns, rows))
    errors = [
        (name, show(true.value, true.unit), f"± {show(true.high, true.unit)}")
        for name, true in twins.errors.items()
    ]
    out.print(table("True errors of the outputs", ("Name", "True", "Allowed by the documents"), errors))


def _allowed(true: TrueValue) -> str:
    from railwright.quantities import show

    bounds = f"{show(true.low, true.unit)} .. {show(true.high, true.unit)}"
    return ("as nominal" if true.low == true.high else bounds) + ("; set by --true" if true.given else "")


def write_truth(path: Path, twins: TwinBench | VirtualNetwork) -> None:
    """SI numbers, stable keys."""
    from railwright.records.manifest import write_json

    write_json(path, twins.truth_data())


def keep_truth(folder: Path, twins: TwinBench | VirtualNetwork) -> Path:
    """The same beside the record of a run, and in its manifest. No evaluation reads it."""
    from railwright.records.manifest import write_manifest
    from railwright.records.names import MANIFEST, TRUTH

    path = folder / TRUTH
    write_truth(path, twins)
    if (folder / MANIFEST).is_file():
        write_manifest(folder, [TRUTH])
    return path

"""The example's documents, copied for a test with its changes; and the least bench, made in code."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from railwright.documents.bench import Bench
from railwright.documents.loader import Documents, load_documents
from railwright.documents.translate import validated
from railwright.examples import example

EXAMPLE = example()
DEVICE = "tide-gauge.device.yaml"
BENCH = "quay.bench.yaml"
PROCEDURE = "power-input.procedure.yaml"

CONVERTER = """      - converter:
          output_power: 3.6 W ± 10 %     # ± is a bound, relative to the value
          efficiency: 83 % .. 89 %
          starts_at: 8.2 V .. 8.6 V
          stops_at: 7.4 V .. 7.8 V
          soft_start: 8 ms
"""
"""The load of the device's main input, as its document has it."""

Edit = tuple[str, str, str]
"""(file, text as it is, text as it shall be)."""


def copy_demo(folder: Path, *edits: Edit) -> Path:
    """Copies of the three documents with these edits, one after the other; the procedure's path."""
    folder.mkdir(exist_ok=True)
    for name in (DEVICE, BENCH, PROCEDURE):
        shutil.copyfile(EXAMPLE / name, folder / name)
    for name, old, new in edits:
        edit(folder / name, old, new)
    return folder / PROCEDURE


def replaced(text: str, *edits: tuple[str, str]) -> str:
    """A text with these edits, (old, new), one after the other; each `old` must be there once."""
    for old, new in edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def edit(path: Path, old: str, new: str) -> int:
    """Replace the first `old` in a file; it must be there. Gives the number of its line."""
    text = path.read_text(encoding="utf-8")
    assert old in text, f"{old!r} is not in {path.name}"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return text[: text.index(old)].count("\n") + 1


def demo_with(folder: Path, *edits: Edit) -> Documents:
    """The example's documents with these edits, read from copies in a folder."""
    return load_documents(copy_demo(folder, *edits))


def bench_of(
    supplies: Mapping[str, Mapping[str, Any]], leads: Mapping[str, Any] | None = None, **more: Any
) -> Bench:
    """The bench of `bench_data`."""
    return validated(Bench, bench_data(supplies, leads, **more))


def bench_data(
    supplies: Mapping[str, Mapping[str, Any]], leads: Mapping[str, Any] | None = None, **more: Any
) -> dict[str, Any]:
    """A bench document of these supplies, each with its `outputs` and what else differs from the least.

    A key whose value is None is left out, of an output as well.
    """
    whole: dict[str, Any] = {}
    for number, (name, given) in enumerate(supplies.items()):
        supply = {"address": f"TCPIP::127.0.0.1::{5100 + number}::SOCKET", "dialect": "channel-list", **given}
        supply["outputs"] = {
            own: {key: value for key, value in figures.items() if value is not None}
            for own, figures in given["outputs"].items()
        }
        whole[name] = {key: value for key, value in supply.items() if value is not None}
    return {
        "bench": "bench",
        "location": "dry",
        "ambient": "23 °C",
        "supplies": whole,
        "leads": dict(leads or {"pair": {"conductor": "AWG 18", "one_way_length": "1 m"}}),
        **more,
    }


OUTPUT: dict[str, Any] = {"voltage": "0 V .. 36 V", "current": "0 A .. 2 A"}
"""The least that a document says of an output."""

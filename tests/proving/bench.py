"""The example's bench with an electronic load beside its supplies."""

from __future__ import annotations

from typing import Any

from tests.bench import BENCH, EXAMPLE

from railwright.documents.bench import Bench, ElectronicLoad
from railwright.documents.loader import load_bench
from railwright.documents.translate import validated

LOAD: dict[str, Any] = {
    "address": "TCPIP::127.0.0.1::5030::SOCKET",
    "model": "EL-600",
    "serial": "E-0007",
    "calibrated": {"on": "2026-02-11", "due": "2027-02-11", "certificate": "QB-26-017"},
    "voltage": "0 V .. 60 V",
    "current": "0 A .. 10 A",
    "programming": {"of_value": "0.05 %", "offset": "1 mA", "resolution": "0.1 mA"},
    "reading": {
        "voltage": {"of_value": "0.02 %", "offset": "2 mV", "resolution": "0.1 mV"},
        "current": {"of_value": "0.05 %", "offset": "0.3 mA", "resolution": "0.1 mA"},
        "update": "10 ms",
    },
}


def load_of(**changed: Any) -> ElectronicLoad:
    """The load as it is, with keys changed; None leaves one out."""
    given = {key: value for key, value in {**LOAD, **changed}.items() if value is not None}
    return validated(ElectronicLoad, given)


def bench_with_load(**changed: Any) -> Bench:
    bench = load_bench(EXAMPLE / BENCH).model
    return bench.model_copy(update={"electronic_loads": {"sink": load_of(**changed)}})

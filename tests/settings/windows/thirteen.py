"""The demo and the twelve devices of `devices`, every limit worked out, with their windows."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import lru_cache

from benchmarks.windows import all_auto, all_procedures

from railwright.documents.loader import Documents, load_documents
from railwright.settings.check import settled
from railwright.settings.context import FedInput, sources_of
from railwright.settings.hookup import hooked_up
from railwright.settings.settle import Settings
from railwright.settings.windows.window import Window

NAMES = tuple(all_procedures())


@dataclass(frozen=True)
class Device:
    """One device's documents with every limit `auto`, and what became of them."""

    documents: Documents
    settings: Settings
    sources: dict[str, FedInput]

    def window(self, setting: str, about: str = "main") -> Window:
        return next(w for w in self.settings.windows if (w.about, w.setting) == (about, setting))


@lru_cache
def device(name: str) -> Device:
    """One of the thirteen by its name."""
    documents = all_auto(load_documents(all_procedures()[name]))
    return Device(documents, settled(hooked_up(documents), dt.date.today()), sources_of(documents)[0])

"""Where the example documents are: beside the sources in a checkout, or in the data of an installation."""

from __future__ import annotations

import sysconfig
from pathlib import Path

from railwright.cli.exits import BadInput


def example(name: str) -> Path:
    """Folder of the example called `name`; BadInput where this installation has none of that name."""
    places = (
        Path(__file__).resolve().parents[3] / "examples" / name,
        Path(sysconfig.get_path("data")) / "share" / "railwright" / "examples" / name,
    )
    for place in places:
        if place.is_dir():
            return place
    raise BadInput(
        f"example '{name}' is not part of this installation; looked in {places[0]} and {places[1]}"
    )

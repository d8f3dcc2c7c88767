"""A commented set of documents to start from."""

from __future__ import annotations

import os
from pathlib import Path

TEMPLATES = Path(__file__).parent


def write_new(folder: str | os.PathLike[str], like: Path = TEMPLATES) -> list[Path]:
    """Write device, bench and procedure to a folder, which is made where it is missing; their paths.

    like: the folder with the documents to write. Raises FileExistsError, having written nothing, where one of
    them is there already.
    """
    target = Path(folder)
    sources = sorted(like.glob("*.yaml"))
    paths = [target / source.name for source in sources]
    for path in paths:
        if path.exists():
            raise FileExistsError(
                f"{path}: expected a folder without it, got one that has it; choose another folder"
            )
    target.mkdir(parents=True, exist_ok=True)
    for source, path in zip(sources, paths, strict=True):
        with path.open("x", encoding="utf-8") as stream:
            stream.write(source.read_text(encoding="utf-8"))
    return paths

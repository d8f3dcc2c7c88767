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
    from railwright.records.manifest import write_together

    target = Path(folder)
    sources = sorted(like.glob("*.yaml"))
    paths = [target / source.name for source in sources]
    for path in paths:
        if path.exists():
            raise FileExistsError(
                f"{path}: expected a folder without it, got one that has it; choose another folder"
            )
    write_together(
        {p: source.read_bytes() for source, p in zip(sources, paths, strict=True)}, new=True, folders=True
    )
    return paths

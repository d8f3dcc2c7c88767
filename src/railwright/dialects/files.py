"""Where the dialects are. Standard library only, so that what switches off need not wait for more."""

import hashlib
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).parent


@cache
def dialect_names() -> tuple[str, ...]:
    """Names of the dialects that there are, sorted."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.yaml")))


def dialect_hash(name: str) -> str:
    """SHA-256 of a dialect's file, in hexadecimal. OSError where there is none."""
    return hashlib.sha256((FOLDER / f"{name}.yaml").read_bytes()).hexdigest()


def dialect_text(name: str) -> str:
    """The file of a dialect as it stands. OSError where there is none."""
    return (FOLDER / f"{name}.yaml").read_text("utf-8")

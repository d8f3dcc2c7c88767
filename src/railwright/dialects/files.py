"""Where the dialects are: in the package, beside a bench document, in the user's own folder, and in other
packages. Standard library only, so that what switches off need not wait for more.
"""

import hashlib
import os
from functools import cache
from pathlib import Path
from typing import NamedTuple

FOLDER = Path(__file__).parent

USER_FOLDER = "RAILWRIGHT_CONFIG_DIR"
"""Environment variable that names the user's folder."""

ENTRY_POINTS = "railwright.dialects"
"""Group of entry points by which another package gives dialects: a name, and a path or what returns one."""

BESIDE = ".dialect.yaml"
"""End of the name of a dialect's file that lies beside a bench document."""


class DialectFile(NamedTuple):
    """The file of a dialect: what a bench calls it, where it lies, what it holds."""

    name: str
    path: Path
    content: bytes

    @property
    def digest(self) -> str:
        """SHA-256 of the file, in hexadecimal."""
        return hashlib.sha256(self.content).hexdigest()


@cache
def dialect_names() -> tuple[str, ...]:
    """Names of the dialects of the package, sorted."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.yaml")))


def dialect_text(name: str) -> str:
    """The file of one of the package's dialects as it stands. OSError where there is none."""
    return (FOLDER / f"{name}.yaml").read_text("utf-8")


def is_path(written: str) -> bool:
    """Whether what a bench document says of a dialect is the path of its file, not its name."""
    return written.endswith((".yaml", ".yml")) or "/" in written or os.sep in written


def find_dialect(written: str, folder: Path) -> DialectFile | None:
    """The file of a dialect that a bench document in a folder names; None where there is none.

    A path is relative to the document. A name is one of the package's, or that of `NAME.dialect.yaml` beside
    the document, of `dialects/NAME.yaml` in the user's folder, or of an entry point of another package.
    OSError where the file cannot be read.
    """
    if is_path(written):
        places = [folder / written]
    elif written in dialect_names():
        places = [FOLDER / f"{written}.yaml"]
    else:
        places = [folder / f"{written}{BESIDE}", user_folder() / "dialects" / f"{written}.yaml"]
    for place in places:
        if place.is_file():
            return DialectFile(written, place, place.read_bytes())
    given = None if is_path(written) else _of_packages(written)
    return None if given is None else DialectFile(written, given, given.read_bytes())


def user_folder() -> Path:
    """The user's folder of this program; it need not be there."""
    if named := os.environ.get(USER_FOLDER):
        return Path(named)
    from platformdirs import user_config_path

    return user_config_path("railwright", appauthor=False)


def _of_packages(name: str) -> Path | None:
    """The file of a dialect that another package gives."""
    from importlib.metadata import entry_points

    for point in entry_points(group=ENTRY_POINTS, name=name):
        found = point.load()
        return Path(found() if callable(found) else found)
    return None

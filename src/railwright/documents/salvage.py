"""What can be read of a YAML text that may be broken anywhere, for whoever has to switch off all the same.

Nothing is validated, and nothing is refused: what makes no sense is left out, and the rest is given.
"""

from __future__ import annotations

import re
from typing import Any

from ruamel.yaml import YAML

_KEY = re.compile(
    r"""(?P<indent>\s*)(?P<key>"[^"]*"|'[^']*'|[^\s#:'"{\[\-][^:#]*?)\s*:(?:\s+(?P<rest>.*))?$"""
)


def salvage(text: str) -> Any:
    """A YAML text as dict, list and str; None where nothing can be made of it.

    Where it is no YAML, each part that is indented further than its key is tried by itself.
    """
    try:
        return _yaml(text)
    except Exception:  # noqa: BLE001 - whatever a broken document makes the parser do, the rest of it counts
        return {key: salvage(part) for key, part in _parts(text).items()} or None


def is_whole(text: str) -> bool:
    """Whether the text is YAML as it stands."""
    try:
        _yaml(text)
    except Exception:  # noqa: BLE001 - as above
        return False
    return True


def _yaml(text: str) -> Any:
    yaml = YAML(typ="base", pure=True)
    yaml.allow_duplicate_keys = True
    return yaml.load(text)


def _parts(text: str) -> dict[str, str]:
    """Key -> what stands behind it and further in, for the keys that are indented least."""
    lines = text.expandtabs().splitlines()
    found = [match for line in lines if (match := _KEY.match(line))]
    if not found:
        return {}
    least = min(len(match["indent"]) for match in found)
    parts: dict[str, list[str]] = {}
    now: list[str] | None = None
    for line in lines:
        match = _KEY.match(line)
        if match and len(match["indent"]) == least:
            now = parts.setdefault(match["key"].strip("'\""), [match["rest"] or ""])
        elif now is not None and len(line) - len(line.lstrip()) > least:
            now.append(line)
    return {key: "\n".join(part) for key, part in parts.items() if "".join(part).strip()}

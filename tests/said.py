"""What a text for people says, whatever its wording: figures, ids and names, in their order."""

from __future__ import annotations

import re

FIGURE = re.compile(
    r"(?<![\w.])[-+±−]?\d+(?:[.,\u00a0 ]?\d+)*(?:e[-+]?\d+)?"
    r"(?:[ \u00a0]?%|[ \u00a0](?:°C|[pnµmkMG]?(?:V|A|W|s|Hz|Ω|F|H|J|C|B)(?:/[µm]?s)?)(?!\w))?"
)


def figures(text: str) -> list[str]:
    """Figures with their units, in order, as they are written; a hard space is a space."""
    return [each.replace("\u00a0", " ") for each in FIGURE.findall(text)]


def says(text: str, *what: object) -> bool:
    """Whether a text names these, each as a whole, one after the other: figures such as '40 ms', ids, names.

    What lies between them is wording, and may be anything. AssertionError where nothing is named: that is in
    every text.
    """
    assert all(map(str, what or [""])), f"says(text, ...) was given {what}"
    begin, end = r"(?<![\w.−-])", r"(?![\w%]|\.\d)"
    named = [begin + re.escape(str(each)) + end for each in what]
    return re.search("(?s)" + ".*?".join(named), text.replace("\u00a0", " ")) is not None

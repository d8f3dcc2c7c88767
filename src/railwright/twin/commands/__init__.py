"""The command tree of the simulated supplies, written by hand; each module adds the headers of its part.

Headers are those of SCPI-1999 (and IEEE 488.2 for the common ones) unless a module's first lines say
otherwise.
"""

from railwright.twin.commands import common, measure, points, protection, source, status, system
from railwright.twin.commands.tree import TREE

__all__ = ["TREE", "common", "measure", "points", "protection", "source", "status", "system"]

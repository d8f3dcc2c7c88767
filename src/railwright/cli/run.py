"""x"""
from __future__ import annotations
from railwright.cli.arguments import Procedure, Json
from railwright.cli.exits import Exit
def run(procedure: Procedure, json: Json = False) -> Exit:
    """Do the run."""
    return Exit.DONE

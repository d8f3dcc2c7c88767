"""x"""
from __future__ import annotations
from railwright.cli.arguments import Procedure, Json
from railwright.cli.exits import Exit
def new(procedure: Procedure, json: Json = False) -> Exit:
    """Do the new."""
    return Exit.DONE

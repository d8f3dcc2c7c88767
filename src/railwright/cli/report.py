"""x"""
from __future__ import annotations
from railwright.cli.arguments import Procedure, Json
from railwright.cli.exits import Exit
def report(procedure: Procedure, json: Json = False) -> Exit:
    """Do the report."""
    return Exit.DONE

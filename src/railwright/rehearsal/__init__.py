"""Rehearsal: documents, hook-up and set points to predicted traces and events; nothing energised."""

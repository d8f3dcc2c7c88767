"""The guard: a small process that owns the instrument sessions and switches outputs off when a run dies.

Standard library only (a contract in CI): it must start in moments, and nothing that a run imports may bring
it down.
"""

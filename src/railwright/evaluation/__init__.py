"""Evaluation: a record against the requirements, with measurement uncertainty and a decision rule.

`evaluate` (in `railwright.evaluation.evaluate`) needs numpy; the outcome types do not, so they are importable
alone.
"""

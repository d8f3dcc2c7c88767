"""Evaluation: a record against the requirements, with measurement uncertainty and a decision rule."""

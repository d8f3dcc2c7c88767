"""Runs on disk with everything that belongs to them: documents, settings, record, recordings, evaluations."""

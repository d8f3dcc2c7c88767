"""Voltage and current over time: shapes, standards, recordings, and their fit to a supply's point list."""

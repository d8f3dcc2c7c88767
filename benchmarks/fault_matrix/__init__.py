"""The fault matrix: a small bench, its faults, and what a run on it must do whatever comes."""

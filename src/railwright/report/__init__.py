"""Report: plots, wiring drawing, PDF, and the same for machines; from frozen values to files."""

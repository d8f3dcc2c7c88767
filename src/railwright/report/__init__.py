"""Report: plots, wiring drawing, PDF, and the same for machines; from frozen values to files."""

from railwright.report.build import build_report
from railwright.report.subject import ReportInput

__all__ = ["ReportInput", "build_report"]

"""The yearly spread report: one HTML page that also prints."""

from trunkwatch.report.page import report_html

__all__ = ["report_html"]

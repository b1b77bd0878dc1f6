"""The treasurer's workbook: a financial year as an auditor can follow it, its totals live, its proofs formulas.

Each sheet is a module: its `LOOK`, and a `write` that is given where the figures of other sheets stand and tells where
its own do. A sheet of details gives what the sheet Proof compares.
"""

from clubdesk.reports.workbook.book import workbook_bytes, write_workbook

__all__ = ["workbook_bytes", "write_workbook"]

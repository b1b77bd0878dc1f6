"""The treasurer's workbook: a financial year as an auditor can follow it, its totals live, its proofs formulas.

Each sheet that is made of the whole ledger is a module: its `LOOK`, and a `write` that is given where the figures of
other sheets stand and tells where its own do. Sheets about one room stand in that room's `sheets.py`.
"""

from clubdesk.reports.workbook.book import workbook_bytes, write_workbook

__all__ = ["workbook_bytes", "write_workbook"]

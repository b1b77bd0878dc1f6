"""The treasurer's workbook: a financial year as an auditor can follow it, its totals live, its proofs formulas."""

from clubdesk.reports.workbook.book import TreasurersWorkbook, workbook_bytes, write_workbook
from clubdesk.reports.workbook.journal import JOURNAL_KINDS

__all__ = ["JOURNAL_KINDS", "TreasurersWorkbook", "workbook_bytes", "write_workbook"]

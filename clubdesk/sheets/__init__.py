"""What sheets of a workbook are written with: a room's own, and the reports'."""

from clubdesk.sheets.cells import Count, Formula, Jump, Named, Rows, Term, Verdict, letters
from clubdesk.sheets.proving import Beside, Proved, together
from clubdesk.sheets.sheet import Heading, Look, Sheet

__all__ = [
    "Beside",
    "Count",
    "Formula",
    "Heading",
    "Jump",
    "Look",
    "Named",
    "Proved",
    "Rows",
    "Sheet",
    "Term",
    "Verdict",
    "letters",
    "together",
]

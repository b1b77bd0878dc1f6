"""The entries of a bank account that the bank has not shown, and which two of them may cancel each other."""

from collections import Counter

from django.contrib.admin import AdminSite
from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from clubdesk import clock
from clubdesk.bank import services
from clubdesk.bank.models import BankAccount
from clubdesk.bank.reconciling import outstanding
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Link, Section, link_to
from clubdesk.verbs import may, verb_of

COLUMNS = ("Date", "Entry", "Amount", "Waits", "What cancels it")


def outstanding_entries(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """What each account of the club has in the book and not at the bank, the oldest first."""
    may_match = may(request.user, verb_of(services.match_entries).permission)
    return site_page(
        request,
        site,
        "screens/figures.html",
        "On its way to the bank",
        intro="What the book has and the bank has not shown yet. What never comes is matched with what cancels it.",
        parent=Link("Statement lines", reverse("admin:bank_statementline_changelist")),
        sections=[_section(account, may_match) for account in BankAccount.objects.select_related("account")],
    )


def _section(account: BankAccount, may_match: bool) -> Section:
    today = clock.today()
    waiting = outstanding(account, today)
    amounts = Counter(each.amount for each in waiting)
    rows = []
    for each in waiting:
        days = (today - each.entry.date).days
        page = reverse("admin:ledger_journalentry_match-entry", args=[each.entry_id])
        link = Link("Match the two", page) if may_match and amounts[-each.amount] else ""
        waits = "since today" if not days else "1 day" if days == 1 else f"{days} days"
        rows.append(
            (
                each.entry.date,
                link_to(each.entry, f"{each.entry.number}: {each.entry.narration}"),
                each.amount,
                waits,
                link,
            )
        )
    return Section(str(account), COLUMNS, rows, "Nothing: the bank has shown all that the book has.")

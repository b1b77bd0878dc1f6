"""What search finds at the bank: lines of its statements, payment runs, and whose an account is."""

from collections.abc import Iterator

from django.db.models import Max, Q

from clubdesk.bank.models import BankDetails, PaymentRun, StatementLine
from clubdesk.clock import day_text
from clubdesk.finding import Sought
from clubdesk.money import shown
from clubdesk.rooms import ERASED, Finder, Hit
from clubdesk.screens.searching import all_words, amounts, hit


def lines(sought: Sought, limit: int) -> Iterator[Hit]:
    meant = all_words(sought, "text") | Q(amount__in=amounts(sought))
    for line in StatementLine.objects.filter(meant).exclude(text=ERASED)[:limit]:
        yield hit(line, line.text, f"{shown(line.amount)}, {day_text(line.date)}")


def runs(sought: Sought, limit: int) -> Iterator[Hit]:
    for run in PaymentRun.objects.filter(number__in=sought.numbers):
        yield hit(run, str(run), f"{run.get_state_display()}, the bank pays on {day_text(run.pay_on)}")


def details(sought: Sought, limit: int) -> Iterator[Hit]:
    """The family whose bank account it is now, by the digits of its BSB or number; never shown in full."""
    if not sought.digits:
        return
    newest = BankDetails.objects.order_by().values("household").annotate(newest=Max("pk")).values("newest")
    meant = Q(account_number=sought.digits) | Q(bsb=f"{sought.digits[:3]}-{sought.digits[3:]}")
    for each in BankDetails.objects.filter(meant, pk__in=newest).select_related("household")[:limit]:
        yield hit(each.household, str(each.household), each.masked)


FINDS = (
    Finder(
        "Bank lines",
        "words of the bank, or an amount",
        permission="bank.view_statementline",
        find=lines,
        page="admin:bank_statementline_changelist",
    ),
    Finder(
        "Payment runs",
        "a number",
        permission="bank.view_paymentrun",
        find=runs,
        called=("run", "payment run"),
        page="admin:bank_paymentrun_changelist",
    ),
    Finder(
        "Bank accounts of families",
        "the whole account number, or a BSB",
        permission="bank.see_bankdetails",
        find=details,
        called=("account", "bsb"),
    ),
)

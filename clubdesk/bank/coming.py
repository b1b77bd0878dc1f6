"""What is due in and out in the weeks ahead, by week, as every room tells of its money; a card of the home page."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import DateField, Value

from clubdesk.bank.models import ItemState, PaymentItem, RunState
from clubdesk.bank.selectors import claims_to_pay, expenses_to_pay
from clubdesk.clock import day_text
from clubdesk.expecting import Coming
from clubdesk.money import as_amount, cents_of, shown
from clubdesk.rooms import Card, Line, in_order

WEEKS = 6
A_WEEK = timedelta(days=7)
NO_DAY = "No day set"


def due_of_runs(first: date, last: date) -> Iterator[Coming]:
    """What payment runs that are not paid yet pay, by their day; what is approved and in no run has none."""
    items = PaymentItem.objects.filter(state=ItemState.WAITING, run__state__in=(RunState.MADE, RunState.RELEASED))
    none = Value(None, output_field=DateField())
    runs = items.order_by().values_list("amount", Value("payment runs"), "run__pay_on")
    claims = claims_to_pay().order_by().values_list("amount", Value("refunds approved"), none)
    expenses = expenses_to_pay().order_by().values_list("amount", Value("expenses approved"), none)
    for amount, what, day in runs.union(claims, expenses, all=True):
        if day is None or day <= last:
            yield Coming(day and max(day, first), -cents_of(amount), what)


def weeks(on: date) -> list[Line]:
    """A line a week in which something is due, up to the weeks ahead, and one for what has no day."""
    last = on + WEEKS * A_WEEK - timedelta(days=1)
    found: dict[int | None, list[Coming]] = defaultdict(list)
    for room in in_order():
        for due in room.comes_due:
            for each in due(on, last):
                found[None if each.day is None else (each.day - on).days // 7].append(each)
    ahead = [_line(f"By {day_text(on + (week + 1) * A_WEEK - timedelta(days=1))}", found[week])
             for week in range(WEEKS) if week in found]  # fmt: skip
    return [*ahead, *([_line(NO_DAY, found[None])] if None in found else [])]


def _line(words: str, due: Iterable[Coming]) -> Line:
    """What comes and goes together as the figure, and each kind of it as the note."""
    kinds: dict[tuple[bool, str], int] = defaultdict(int)
    for each in due:
        kinds[each.cents < 0, each.what] += each.cents
    said = "; ".join(
        f"{'out' if out else 'in'} {_shown(abs(cents))} {what}" for (out, what), cents in sorted(kinds.items())
    )
    return Line(words, _shown(sum(kinds.values())), f"{said[:1].upper()}{said[1:]}.")


def _shown(cents: int) -> str:
    return shown(as_amount(Decimal(cents).scaleb(-2)))


CARDS = (
    Card(
        "Due in and out",
        "bank.add_paymentrun",
        weeks,
        empty="Nothing is due in the next six weeks.",
        more="What families owe by age",
        page="admin:aged_balances",
    ),
)

"""What this room holds about people. Visitors are on no roll: `forget_visitors` forgets them each night."""

from collections.abc import Iterator, Sequence

from clubdesk.rangeday.models import SignOn, Tap
from clubdesk.roll.models import Household
from clubdesk.rooms import Erase, Personal, Told

FORGOTTEN = "a visitor's, who is on no roll: the night forgets it once the years of keeping are over"
VISITORS = {"visitor_name": FORGOTTEN, "visitor_guardian": FORGOTTEN, "visitor_phone": FORGOTTEN}


def _range(home: Household) -> Iterator[Sequence[object]]:
    for row in SignOn.objects.filter(person__household=home).select_related("person", "range_day"):
        words = f"{row}, cancelled: {row.cancel_reason}" if row.cancel_reason else str(row)
        yield (row.range_day.date, words, row.get_paid_display(), row.amount.amount)
    people = set(home.people.values_list("pk", flat=True))
    for tap in Tap.objects.exclude(question="", answer="").select_related("range_day").order_by("pk"):
        if people.intersection(tap.people):
            yield (tap.range_day.date, f"Asked: {tap.question} {tap.answer}".strip(), "", None)


PERSONAL = (
    Personal(
        "rangeday.SignOn",
        person="person",
        erased=(Erase("cancel_reason"),),
        told=("cancel_reason",),
        retained_from=("range_day__date",),
        free=VISITORS,
    ),
    Personal(
        "rangeday.Tap",
        person="people__names",
        erased=(Erase("question"), Erase("answer")),
        told=("question", "answer"),
        retained_from=("range_day__date",),
        free=VISITORS,
    ),
    Personal("rangeday.KitLoan", person="sign_on__person"),
)
TOLD = (Told("Range", (("Day", 14), ("Who and gear", 46), ("Paid", 18), ("Amount", 14)), _range, amounts="D"),)

"""What a year needs of this room before it is closed."""

from django.urls import reverse

from clubdesk.ledger.models import FinancialYear
from clubdesk.rangeday.models import RangeDay, Tap, TapState
from clubdesk.rooms import Check, Item

MOST_NAMED = 3
DAYS_CLOSED = "Every range day is closed"
PHONES_ANSWERED = "Questions from phones are answered"


def days_closed(year: FinancialYear) -> Item:
    days = RangeDay.objects.filter(
        date__range=(year.first_day, year.last_day), closed_on=None, called_off_on=None
    ).order_by("date")
    named, more = ", ".join(str(day) for day in days[:MOST_NAMED]), len(days) - MOST_NAMED
    said = f"Not counted: {named}{f' and {more} more' if more > 0 else ''}."
    url = f"{reverse('admin:rangeday_rangeday_changelist')}?standing=uncounted"
    return Item(
        DAYS_CLOSED,
        not days,
        said if days else "Every day was counted or called off.",
        url,
        "rangeday.close_rangeday",
    )


def phones_answered(year: FinancialYear) -> Item:
    asked = Tap.objects.filter(state=TapState.QUESTION, range_day__date__lte=year.last_day).count()
    said = f"{asked} still to be answered." if asked else "None is open."
    url = f"{reverse('admin:rangeday_tap_changelist')}?state__exact=question"
    return Item(PHONES_ANSWERED, not asked, said, url, "rangeday.close_rangeday", "the coordinator")


CHECKS = (
    Check(DAYS_CLOSED, "rangeday.close_rangeday", days_closed),
    Check(PHONES_ANSWERED, "rangeday.close_rangeday", phones_answered),
)

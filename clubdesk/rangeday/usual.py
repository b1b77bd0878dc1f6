"""What is usual on days like one that comes: who comes, and the kit they had last."""

from datetime import date, timedelta

from django.db.models import Count

from clubdesk.rangeday.forecast import latest_alike
from clubdesk.rangeday.models import KitLoan, KitState, RangeDay, SignOn
from clubdesk.rangeday.selectors import STANDS

LATELY = 8
"""So many days alike are looked at."""
HAD_WITHIN = timedelta(days=120)


def times_came(range_day: RangeDay) -> dict[int, int]:
    """How often each person (by id) came on the latest days alike: of that weekday, at that range."""
    days = latest_alike(range_day).values("pk")[:LATELY]
    rows = SignOn.objects.filter(STANDS, range_day__in=days, person__isnull=False).order_by()
    return dict(rows.values_list("person").annotate(Count("pk")))


def kit_had(day: date) -> dict[int, list[int]]:
    """The pieces of kit (ids) that each person had last, one of a kind, by what they had within four months."""
    loans = KitLoan.objects.filter(
        sign_on__range_day__date__range=(day - HAD_WITHIN, day), sign_on__person__isnull=False,
        sign_on__cancelled_on=None, kit__state__in=(KitState.USABLE, KitState.SET_ASIDE),
    )  # fmt: skip
    latest: dict[int, dict[str, int]] = {}
    for person, kind, kit in loans.order_by("given_at", "pk").values_list("sign_on__person", "kit__kind", "kit"):
        latest.setdefault(person, {})[kind] = kit
    return {person: list(kit.values()) for person, kit in latest.items()}

"""What the demo leaves of a safe day for its visitors."""

from types import SimpleNamespace

import pytest

from clubdesk.rangeday.models import Kit, KitState, RangeDay
from clubdesk.roll.demo import Cast
from clubdesk.safety import demo, selectors
from clubdesk.safety.models import Incident, Turn
from tests import factories
from tests.safety.conftest import NOW

pytestmark = pytest.mark.django_db


def test_it_leaves_a_roster_a_check_that_lapses_soon_a_swap_and_a_near_miss(club, coordinator, range_helper):
    homes = [factories.HouseholdFactory(guardian=f"Ida{number} Quoll") for number in range(16)]
    cast = Cast(juniors=[factories.PersonFactory(household=home) for home in homes])
    Kit.objects.create(number="B01", kind="bow")
    users = {"coordinator": coordinator, "helper": range_helper}
    demo.leave(SimpleNamespace(users=users, part=lambda kind: cast), NOW)
    assert RangeDay.objects.filter(turns__isnull=False).distinct().count() == demo.WEEKS
    assert Turn.objects.count() == 3 * demo.WEEKS
    assert [each.is_short for each in selectors.standings(selectors.coming_days(NOW))] == [False] * demo.WEEKS
    assert selectors.lapsing(NOW).count() == 1
    assert selectors.swaps_asked(NOW).count() == 1
    assert Incident.objects.get().involved.filter(part="child").count() == 1
    assert Kit.objects.get().state == KitState.USABLE  # nobody had it

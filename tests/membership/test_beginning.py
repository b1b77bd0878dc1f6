"""Fees and plans begun from a worked example that is changed line by line."""

import uuid
from datetime import date

import pytest
from django.urls import reverse

from clubdesk.errors import Refused
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeItem, FeeKind
from clubdesk.fees.services import NewFee
from clubdesk.ledger.models import Role
from clubdesk.membership import services
from clubdesk.membership.models import Plan
from clubdesk.membership.services import NewPlan
from clubdesk.money import as_amount, nil

FROM = date(2026, 7, 1)


def as_shown(answer):
    """What the page sends back when nothing is changed on it."""
    form = answer.context["form"]
    lines = form.lines
    sent = {f"{lines.prefix}-TOTAL_FORMS": len(lines.forms), f"{lines.prefix}-INITIAL_FORMS": 0}
    for line in lines.forms:
        sent |= {line.add_prefix(name): line[name].value() or "" for name in line.fields}
    return sent | {"on": FROM.isoformat(), "key": uuid.uuid4()}


@pytest.mark.django_db
class TestThePages:
    def test_the_example_as_it_is_begins_fees_with_prices_and_the_right_income(self, client, treasurer):
        client.force_login(treasurer)
        page = reverse("admin:fees_feeitem_begin")
        sent = as_shown(client.get(page))
        for _ in range(2):
            assert client.post(page, sent).status_code == 302
        told = FeeItem.objects.values_list("name", "prices__amount", "prices__valid_from", "income_account__role")
        assert list(told.order_by("name")) == [
            ("Beginner course", as_amount(126), FROM, Role.COURSES),
            ("Gear hire, member", as_amount(7), FROM, Role.HIRE),
            ("Parent beside a child", as_amount(7), FROM, Role.HIRE),
            ("Visitor with gear", as_amount(15), FROM, Role.VISITORS),
        ]

    def test_a_cleared_line_is_left_out_and_a_changed_price_counts(self, client, treasurer):
        client.force_login(treasurer)
        page = reverse("admin:fees_feeitem_begin")
        sent = as_shown(client.get(page)) | {"line-0-name": "", "line-1-amount": "8.50", "line-2-name": ""}
        client.post(page, sent | {"line-3-name": ""})
        assert [(item.name, item.prices.get().amount) for item in FeeItem.objects.all()] == [
            ("Gear hire, member", as_amount("8.50"))
        ]

    def test_a_name_without_a_price_is_said_at_its_line_and_what_was_typed_stays(self, client, treasurer):
        client.force_login(treasurer)
        page = reverse("admin:fees_feeitem_begin")
        answer = client.post(page, as_shown(client.get(page)) | {"line-0-amount": "", "line-1-name": "Bow hire"})
        text = answer.content.decode()
        assert answer.status_code == 422
        assert "Write the price, or clear the name" in text
        assert 'value="Bow hire"' in text
        assert not FeeItem.objects.exists()

    def test_plans_begin_with_a_fee_each(self, client, treasurer):
        client.force_login(treasurer)
        page = reverse("admin:membership_plan_begin")
        sent = as_shown(client.get(page))
        for _ in range(2):
            assert client.post(page, sent).status_code == 302
        told = [(each.name, each.fee_item.kind, each.months, each.oldest) for each in Plan.objects.all()]
        assert told == [("Adult", FeeKind.MEMBERSHIP, 12, None), ("Junior", FeeKind.MEMBERSHIP, 12, 17)]
        assert Plan.objects.get(name="Junior").fee_item.prices.get().amount == as_amount(228)

    def test_the_first_things_lead_to_the_examples(self, client, treasurer):
        client.force_login(treasurer)
        shown = client.get("/").content.decode()
        assert reverse("admin:fees_feeitem_begin") in shown
        assert reverse("admin:membership_plan_begin") in shown


@pytest.mark.django_db
class TestWhatCannotBegin:
    @pytest.mark.parametrize(
        ("given", "said"),
        [
            ([], "Name at least one fee"),
            ([NewFee("Hire", FeeKind.HIRE, as_amount(7)), NewFee("hire", FeeKind.HIRE, as_amount(8))], "of its own"),
            ([NewFee("Hire", FeeKind.HIRE, nil())], "above zero"),
            ([NewFee("…", FeeKind.HIRE, as_amount(7))], "in letters or figures"),
        ],
    )
    def test_fees(self, book, by, given, said):
        with pytest.raises(Refused, match=said):
            fees.begin_fees(fees=given, on=FROM, by=by)

    @pytest.mark.parametrize(
        ("given", "said"),
        [
            ([], "Name at least one plan"),
            ([NewPlan("Junior", as_amount(1)), NewPlan("junior", as_amount(1))], "a name of its own"),
            ([NewPlan("Junior", as_amount(1), youngest=9, oldest=8)], "below the youngest"),
        ],
    )
    def test_plans(self, book, by, given, said):
        with pytest.raises(Refused, match=said):
            services.begin_plans(plans=given, on=FROM, by=by)
        assert not FeeItem.objects.exists()

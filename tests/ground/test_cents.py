"""An amount's column holds whole cents and gives Money; whatever could be dollars or cents is refused."""

import json
from datetime import date
from decimal import Decimal

import pytest
from django.core import serializers
from django.core.exceptions import FieldError
from django.db import connection, models
from django.db.models import F, OuterRef, Q, Subquery, Sum, Value
from django.db.models.functions import Coalesce
from django.test.utils import isolate_apps
from djmoney.money import Money

from clubdesk.errors import Refused
from clubdesk.ledger.models import MonthBalance
from clubdesk.money import AmountFormField, Cents, Figure, as_amount, cents_of, figure_of, from_cents, sum_of
from clubdesk.rangeday.models import OwnGearCost

pytestmark = pytest.mark.django_db
DAYS = [date(2026, 9, day) for day in (1, 2, 3)]
NOT_AMOUNTS = [1, 5000, 0.1, 0.0, Decimal("1.00"), Decimal(0), "1.00", True, False]


@pytest.fixture
def costs():
    for day, amount in zip(DAYS, ("250.10", "0.01", "9999999999.99"), strict=True):
        OwnGearCost.objects.create(since=day, amount=as_amount(amount))
    return OwnGearCost.objects.order_by("since")


def amounts(rows):
    return [str(row.amount.amount) for row in rows]


def test_the_column_holds_whole_cents_and_gives_money(costs):
    with connection.cursor() as cursor:
        cursor.execute("SELECT amount FROM rangeday_owngearcost ORDER BY since")
        assert [amount for (amount,) in cursor.fetchall()] == [25010, 1, 999999999999]
    assert [row.amount for row in costs] == [as_amount("250.10"), as_amount("0.01"), as_amount("9999999999.99")]
    assert list(costs.values_list("amount", flat=True)) == [row.amount for row in costs]


@pytest.mark.parametrize("value", NOT_AMOUNTS)
def test_a_plain_number_is_never_an_amount(costs, value):
    with pytest.raises(TypeError, match="An amount is Money"):
        cents_of(value)
    with pytest.raises(TypeError, match="An amount is Money"):
        OwnGearCost.objects.create(since=date(2026, 10, 1), amount=value)
    with pytest.raises(TypeError, match="An amount is Money"):
        list(costs.filter(amount__gt=value))
    with pytest.raises(TypeError, match="An amount is Money"):
        costs.update(amount=value)


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (Money(Decimal("5.00"), "NZD"), "kept in AUD"),
        (Money(Decimal("0.005"), "AUD"), "more than two decimals"),
        (Money(Decimal("10000000000.00"), "AUD"), "outside what an amount can be"),
    ],
)
def test_another_currency_part_cents_and_too_much_are_refused(costs, value, said):
    with pytest.raises(Refused, match=said):
        OwnGearCost.objects.create(since=date(2026, 10, 1), amount=value)
    with pytest.raises(Refused, match=said):
        list(costs.filter(amount=value))


def test_the_literal_0_is_zero(costs):
    assert cents_of(0) == 0
    assert costs.filter(amount__gt=0).count() == 3
    assert not costs.filter(amount=0).exists()


def test_a_default_is_money_before_it_is_saved():
    assert MonthBalance().balance == as_amount(0)


def test_rows_are_found_by_money(costs):
    assert amounts(costs.filter(amount=as_amount("0.01"))) == ["0.01"]
    assert amounts(costs.filter(amount__in=[as_amount("0.01"), as_amount("250.10")])) == ["250.10", "0.01"]
    assert amounts(costs.filter(amount__range=(as_amount("0.02"), as_amount(300)))) == ["250.10"]
    assert amounts(costs.filter(amount__lt=Value(as_amount(1), output_field=Cents()))) == ["0.01"]
    assert amounts(costs.order_by("amount")) == ["0.01", "250.10", "9999999999.99"]


def test_what_a_query_reckons_is_money_again(costs):
    two = costs.filter(since__lt=DAYS[2])
    assert two.aggregate(figure=Sum("amount"))["figure"] == as_amount("250.11")
    assert costs.none().aggregate(figure=Sum("amount"))["figure"] is None
    nothing = Coalesce(Sum("amount", filter=Q(pk=None)), Value(as_amount(0), output_field=Cents()))
    assert two.aggregate(figure=nothing)["figure"] == as_amount(0)
    doubled = two.annotate(doubled=F("amount") + F("amount"), less=F("amount") - F("amount"))
    assert [(row.doubled, row.less) for row in doubled.filter(doubled__gt=as_amount(1), less=0)] == [
        (as_amount("500.20"), as_amount(0))
    ]
    same = OwnGearCost.objects.filter(pk=OuterRef("pk")).values("since").annotate(figure=Sum("amount"))
    assert [row.figure for row in two.annotate(figure=Subquery(same.values("figure")))] == [row.amount for row in two]
    two.update(amount=F("amount") + Value(as_amount("0.05"), output_field=Cents()))
    assert amounts(two) == ["250.15", "0.06"]


def test_figures_are_decimals_in_the_currencys_unit(costs):
    two = costs.filter(since__lt=DAYS[2])
    found = two.aggregate(figure=sum_of("amount"), none=sum_of("amount", Q(pk=None)))
    assert [str(figure) for figure in found.values()] == ["250.11", "0.00"]
    assert [str(figure) for (figure,) in two.values_list(figure_of("amount"))] == ["250.10", "0.01"]
    reckoned = two.annotate(left=F("amount") - Value(as_amount("0.10"), output_field=Figure()))
    assert [str(row.left) for row in reckoned.filter(left__lt=0)] == ["-0.09"]


def test_reckoning_with_plain_numbers_is_refused(costs):
    with pytest.raises(FieldError, match="Cannot infer type of"):
        list(costs.annotate(more=F("amount") + 1))


@pytest.mark.parametrize(("cents", "total"), [(1, "10000.00"), (10, "100000.00"), (-10, "-100000.00")])
@isolate_apps("clubdesk.ledger")
def test_a_million_sums_to_the_cent(cents, total):
    class Many(models.Model):
        amount = Cents()

        class Meta:
            app_label = "ledger"
            db_table = "many"

    with connection.cursor() as cursor:
        cursor.execute("CREATE TEMPORARY TABLE many (id bigint PRIMARY KEY, amount bigint)")
        cursor.execute(
            "INSERT INTO many WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 1000000)"
            f" SELECT i, {cents} FROM n"
        )
    assert Many.objects.aggregate(figure=Sum("amount"))["figure"] == as_amount(total)
    assert str(Many.objects.aggregate(figure=sum_of("amount"))["figure"]) == total


def test_a_dump_tells_amounts_in_the_currencys_unit_and_reads_them_again(costs):
    text = serializers.serialize("json", costs)
    assert [row["fields"]["amount"] for row in json.loads(text)] == ["250.10", "0.01", "9999999999.99"]
    assert [row.object.amount for row in serializers.deserialize("json", text)] == [row.amount for row in costs]
    assert Cents().to_python(None) is None
    with pytest.raises(Refused, match="more than two decimals"):
        Cents().to_python("1.005")


def test_a_model_with_its_amount_is_valid_and_its_form_field_gives_money(costs):
    costs[0].full_clean()
    field = OwnGearCost._meta.get_field("amount").formfield()
    assert isinstance(field, AmountFormField)
    assert (field.clean("1,250.50"), field.prepare_value(from_cents(5))) == (as_amount("1250.50"), Decimal("0.05"))


def test_its_migration_names_neither_currency_nor_digits():
    assert Cents("fee", default=as_amount).deconstruct()[1:] == (
        "clubdesk.money.Cents", [], {"verbose_name": "fee", "default": as_amount}
    )  # fmt: skip

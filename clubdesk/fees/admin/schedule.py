"""Screens of the fee schedule."""

from django.contrib import admin
from django.db.models import Case, F, OuterRef, Q, QuerySet, Subquery, When
from django.http import HttpRequest

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.fees.admin.beginning import BeginFeesPage
from clubdesk.fees.models import FeeItem, FeePrice, FeeShare
from clubdesk.ledger.selectors import is_registered
from clubdesk.money import Cents
from clubdesk.screens.rooms import NamedCells, RoomAdmin
from clubdesk.screens.tables import Section, amount_column, link_to


def is_charged(price: FeePrice | None) -> bool:
    """Whether the price was charged to somebody: from then on it is kept, and a new one starts on a later day."""
    return price is not None and price.charges.exists()


class FeeShareInline(NamedCells, admin.TabularInline[FeeShare, FeePrice]):
    model = FeeShare
    extra = 1
    verbose_name_plural = "Shares that are not the club's own income of this item"

    def get_queryset(self, request: HttpRequest) -> QuerySet[FeeShare]:
        return super().get_queryset(request).select_related("account", "party")

    def has_add_permission(self, request: HttpRequest, obj: FeePrice | None = None) -> bool:
        return super().has_add_permission(request, obj) and not is_charged(obj)

    def has_change_permission(self, request: HttpRequest, obj: FeePrice | None = None) -> bool:
        return super().has_change_permission(request, obj) and not is_charged(obj)

    def has_delete_permission(self, request: HttpRequest, obj: FeePrice | None = None) -> bool:
        return super().has_delete_permission(request, obj) and not is_charged(obj)


@admin.register(FeePrice)
class FeePriceAdmin(RoomAdmin[FeePrice]):
    list_display = ("item", "valid_from", "valid_until", "amount_shown")
    list_select_related = ("item",)
    list_filter = ("item",)
    inlines = (FeeShareInline,)
    amount_shown = amount_column("amount", "Price")

    def get_fields(self, request: HttpRequest, obj: FeePrice | None = None) -> tuple[str, ...]:
        return ("item", "amount_shown" if is_charged(obj) else "amount", "valid_from", "valid_until")

    def get_readonly_fields(self, request: HttpRequest, obj: FeePrice | None = None) -> tuple[str, ...]:
        return ("item", "amount_shown", "valid_from") if is_charged(obj) else ()


def prices_section(request: HttpRequest, item: FeeItem) -> Section:
    rows = [
        (link_to(price, day_text(price.valid_from)), price.valid_until or "until the next", price.amount)
        for price in item.prices.all()
    ]
    return Section(f"Prices (today {day_text(clock.today())})", ["From", "To", "Price"], rows)


@admin.register(FeeItem)
class FeeItemAdmin(RoomAdmin[FeeItem]):
    list_display = ("name", "kind", "income_account", "price_today")
    list_select_related = ("income_account",)
    prepopulated_fields = {"code": ("name",)}
    section_makers = (prices_section,)
    list_pages = (BeginFeesPage(),)
    price_today = amount_column("asked_today", "Price today")

    def get_queryset(self, request: HttpRequest) -> QuerySet[FeeItem]:
        begun = FeePrice.objects.filter(item=OuterRef("pk"), valid_from__lte=clock.today()).order_by("-valid_from")
        asked = Case(
            When(Q(valid_until=None) | Q(valid_until__gte=clock.today()), then=F("amount")), output_field=Cents()
        )
        return super().get_queryset(request).annotate(asked_today=Subquery(begun.values_list(asked)[:1]))

    def get_exclude(self, request: HttpRequest, obj: FeeItem | None = None) -> tuple[str, ...]:
        return () if is_registered() else ("tax_code",)

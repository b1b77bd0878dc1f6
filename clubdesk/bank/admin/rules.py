"""Screens of the treasurer's rules for lines that come again."""

from django.contrib import admin
from django.db.models import Exists
from django.http import HttpRequest

from clubdesk import clock
from clubdesk.bank import selectors
from clubdesk.bank.models import BankRule, StatementLine
from clubdesk.screens.rooms import RoomAdmin
from clubdesk.screens.tables import Section, link_to


def caught_section(request: HttpRequest, rule: BankRule) -> Section:
    """Which lines of the last year the rule speaks of, so that one sees what it would have caught."""
    since = clock.months_later(clock.today(), -12)
    lines = StatementLine.objects.filter(date__gte=since).annotate(is_explained=Exists(selectors.STANDING_CLEARING))
    rows = [
        (each.date, link_to(each, each.text), "matched" if each.is_explained else "waits", each.amount)
        for each in lines
        if rule.catches(each.text, each.amount)
    ]
    return Section("Lines of the last year that it speaks of", ["Date", "Words", "State", "Amount"], rows[:50])


@admin.register(BankRule)
class BankRuleAdmin(RoomAdmin[BankRule]):
    list_display = ("name", "contains", "way", "account", "fund", "in_use")
    list_select_related = ("account", "fund")
    fields = ("name", "contains", "way", "least", "most", "account", "fund", "party", "in_use")
    autocomplete_fields = ("party",)
    section_makers = (caught_section,)

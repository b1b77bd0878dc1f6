"""What can be found: every search box says what it finds, every list of every day has one, every finder leads on."""

from collections import Counter
from collections.abc import Iterator

from django.apps import apps
from django.contrib import admin
from django.contrib.admin import ModelAdmin
from django.db import models

from clubdesk import rooms
from clubdesk.rooms import ListOf, Menu

Screen = ModelAdmin[models.Model]


def listed() -> Iterator[tuple[ListOf, Screen]]:
    """Every list that a menu leads to, with its screen."""
    for room in rooms.in_order():
        for each in room.menu:
            if isinstance(each, ListOf):
                screen = admin.site._registry.get(apps.get_model(each.app or room.label, each.model))
                yield from [(each, screen)] if screen else []


def every_search_box_says_what_it_finds() -> Iterator[str]:
    for model, screen in admin.site._registry.items():
        if screen.search_fields and not screen.search_help_text:
            yield f"The search box of {model._meta.label} does not say what it finds: give it a search_help_text."
        if screen.search_help_text and not screen.search_fields:
            yield f"{model._meta.label} says what its search box finds and has none: name its search_fields."


def every_list_of_every_day_is_searched() -> Iterator[str]:
    for each, screen in listed():
        label = screen.opts.label
        if each.place == Menu.DAILY and not screen.search_fields and not each.unsearched:
            yield f"The list of {label} has no search box: name its search_fields, or in its ListOf why it needs none."
        if screen.search_fields and each.unsearched:
            yield f"The list of {label} has a search box, and its ListOf says why it needs none."


def every_finder_leads_on() -> Iterator[str]:
    searched = {
        f"admin:{screen.opts.app_label}_{screen.opts.model_name}_changelist"
        for screen in admin.site._registry.values()
        if screen.search_fields
    }
    for room in rooms.in_order():
        for finder in room.finds:
            if not finder.by:
                yield f"The finder “{finder.group}” does not say by what it finds."
            if finder.page and finder.page not in searched:
                yield f"The finder “{finder.group}” leads to {finder.page}, which is no list with a search box."


def every_finder_is_told_from_others() -> Iterator[str]:
    told = Counter((finder.group, finder.permission) for room in rooms.in_order() for finder in room.finds)
    for (group, permission), times in told.items():
        if times > 1:
            yield f"{times} finders find “{group}” for whoever has {permission}: give each a group of its own."

"""The house says what was forgotten: nothing is, and the checks run at every start."""

import pytest
from django.conf import settings
from django.core import checks

from clubdesk import states
from clubdesk.desk import house
from clubdesk.verbs import VERBS


@pytest.mark.parametrize("look", house.LOOKS, ids=lambda look: look.__name__)
def test_nothing_is_forgotten(look):
    assert list(look()) == []


def test_the_house_is_looked_at_whenever_a_command_starts():
    assert house.check_the_house in checks.registry.registry.get_checks()


def test_every_verb_says_what_it_does_in_a_sentence():
    silent = [verb.name for verb in VERBS.values() if not (verb.title and (verb.function.__doc__ or "").strip())]
    assert silent == []


@pytest.mark.parametrize("table", states.ALL, ids=lambda table: table.noun)
def test_every_state_can_be_reached(table):
    reached, grown = set(table.first), True
    while grown:
        new = {after for before, after, _ in table.pairs() if before in reached} - reached
        reached, grown = reached | new, bool(new)
    assert reached == set(table.all)


@pytest.mark.parametrize("table", states.ALL, ids=lambda table: table.noun)
def test_the_picture_of_its_states_stands_in_developers_md(table):
    assert f"```mermaid\n{table.picture()}\n```" in (settings.BASE_DIR / "DEVELOPERS.md").read_text()

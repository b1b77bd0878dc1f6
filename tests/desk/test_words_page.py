"""The page that says what the words of the site mean."""

import io

import pytest
from django.contrib.admin import site
from django.core.management import call_command
from django.urls import reverse

from clubdesk.desk.words import WORDS


def test_everybody_who_signs_in_finds_every_word(client, range_helper):
    client.force_login(range_helper)
    page = client.get("/words/").content.decode()
    assert all(f">{word}</dt>" in page for word in WORDS)
    assert 'href="/words/"' in client.get("/").content.decode()


def test_the_words_stand_in_order_and_say_themselves_briefly():
    assert list(WORDS) == sorted(WORDS, key=str.lower)
    assert all(len(sentence.split()) <= 25 for meaning in WORDS.values() for sentence in meaning.split(". "))


RETIRED_NAMES = {
    "user",
    "users",
    "group",
    "groups",
    "write off",
    "write offs",
    "look",
    "looks",
    "clearing",
    "clearings",
}


@pytest.mark.django_db
class TestWhatListsAreCalled:
    def test_no_list_has_a_name_that_is_djangos_or_the_programs_own(self):
        named = [
            (model._meta.label, str(name))
            for model in site._registry
            for name in (model._meta.verbose_name, model._meta.verbose_name_plural)
        ]
        assert len(named) > 100
        assert [each for each in named if each[1].lower() in RETIRED_NAMES] == []

    def test_who_signs_in_is_a_list_of_the_site_and_of_no_framework(self, client, keeper):
        client.force_login(keeper)
        page = client.get(reverse("admin:auth_user_changelist")).content.decode()
        assert "<h1>Who signs in</h1>" in page
        assert "Sign-ins and roles" in page
        assert "Authentication" not in page
        assert "Who signs in" in client.get(reverse("admin:everything")).content.decode()

    def test_the_names_are_no_change_for_a_migration_to_write(self):
        said = io.StringIO()
        call_command("makemigrations", "--check", "--dry-run", stdout=said)
        assert "No changes detected" in said.getvalue()

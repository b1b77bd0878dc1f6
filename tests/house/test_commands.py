"""Commands are made of the verbs' register, and what only asks saves nothing."""

import re
from datetime import date

import pytest
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand

from clubdesk import rooms
from clubdesk.bank import services as bank
from clubdesk.desk import services as desk
from clubdesk.desk.house.commands import commands, misfits
from clubdesk.errors import Refused
from clubdesk.ledger import selectors
from clubdesk.ledger import services as ledger
from clubdesk.roll.models import Household
from clubdesk.roll.services import add_household
from clubdesk.rooms import Done, Night, Room, Tab
from clubdesk.shell import CSV_FILE, Argument, ImportCommand, QuestionCommand, VerbCommand, contents, day

NO_VERB = "is neither a VerbCommand nor a QuestionCommand"


class Plain(BaseCommand):
    pass


class OfNothing(VerbCommand[None]):
    pass


class OfAQuestion(VerbCommand[None]):
    verb = selectors.trial_balance


class Forgets(ImportCommand[None]):
    verb = bank.import_statement


class GivesTooMuch(ImportCommand[None]):
    verb = ledger.import_chart
    takes = (CSV_FILE, Argument("--on", {"on": day}, "DATE"))


class GivesAnotherType(ImportCommand[None]):
    verb = ledger.import_journal
    takes = (Argument("file", {"content": day}, "FILE"),)


class TriesANight(VerbCommand[None]):
    verb = desk.nightly
    takes = (Argument("--date", {"on": day}, "DATE"),)
    has_dry_run = True


class Whole(ImportCommand[None]):
    verb = bank.import_statement
    takes = (
        Argument("file", {"content": contents, "file_name": str}, "FILE"),
        Argument("--account", {"bank_account": bank.importing.account_with}, "CODE"),
    )


@pytest.mark.parametrize(
    ("command", "sentences"),
    [
        (Plain, [f"{NO_VERB}: name its verb, or say in why_no_verb why it has none."]),
        (OfNothing, ["names no verb of the register."]),
        (OfAQuestion, ["names no verb of the register."]),
        (
            Forgets,
            [
                "does not give bank_account, which bank.import_statement needs.",
                "does not give file_name, which bank.import_statement needs.",
            ],
        ),
        (GivesTooMuch, ["gives on, which ledger.import_chart does not take."]),
        (
            GivesAnotherType,
            ["gives content as what day makes, and ledger.import_journal takes <class 'bytes'>."],
        ),
        (TriesANight, ["has a dry run, and desk.nightly saves each part by itself."]),
        (Whole, []),
        (QuestionCommand, []),
    ],
)
def test_a_command_that_does_not_fit_its_verb_is_named(command, sentences):
    assert list(misfits(command())) == sentences


def test_readme_tells_of_every_command_of_ours_but_djangos_migrate():
    told = re.findall(r"^\| `([a-z_]+)", (settings.BASE_DIR / "README.md").read_text(), re.MULTILINE)
    assert sorted([*told, "migrate"]) == [name for name, _ in commands()]


def test_a_question_saves_nothing_whatever_it_does(book):
    class Asks(QuestionCommand):
        def answer(self, **options):
            add_household(name="Asked family")
            assert Household.objects.filter(name="Asked family").exists()

    call_command(Asks())
    assert not Household.objects.filter(name="Asked family").exists()


def test_what_a_verbs_command_began_is_not_saved_where_it_is_refused(book, capsys):
    class Begins(VerbCommand[None]):
        verb = ledger.open_year
        takes = (Argument("--first-day", {"first_day": day}, "DATE"),)
        needs = staticmethod(lambda: add_household(name="Begun family"))

    with pytest.raises(SystemExit, match="1"):
        call_command(Begins(), first_day="2026-07-02")
    assert capsys.readouterr().err.count("\n") == 1
    assert not Household.objects.filter(name="Begun family").exists()


def test_what_one_room_did_by_night_stays_where_another_is_refused_afterwards(book, by, monkeypatch):
    def adds(on, by):
        add_household(name="Family of the night")
        return Done(1)

    def refuses(on, by):
        raise Refused("Not this night.")

    above = Room("desk", "does its part", Tab.SITE, each_night=(Night("families added", adds),))
    below = Room("ledger", "does not", Tab.MONEY, each_night=(Night("", refuses),))
    monkeypatch.setattr(rooms, "ROOMS", {"ledger": below, "desk": above})
    with pytest.raises(Refused, match="Not this night"):
        desk.nightly(on=date(2026, 9, 12), by=by)
    assert Household.objects.filter(name="Family of the night").exists()

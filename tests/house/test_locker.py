"""A new kind of document is one folder and one line; whatever of it is forgotten, the house says so at its start."""

import json
import os
import subprocess
import sys
from pathlib import Path

from tests.reports.test_workbook import recalculated

HERE = Path(__file__).parent
ROOT = HERE.parent.parent

LIVES = """
import sys
from datetime import date
from django.core.management import call_command
import django
django.setup()
call_command("migrate", verbosity=0, run_syncdb=True)

from django.contrib import admin
from django.urls import reverse
from clubdesk import clock
from clubdesk.desk import services as desk
from clubdesk.desk.house import faults
from clubdesk.desk.roles import permissions_of
from clubdesk.fees.selectors import balance
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, FinancialYear
from clubdesk.verbs import shell_user
from clubdesk.fees.models import FeeItem, FeeKind, FeePrice
from clubdesk.money import as_amount
from clubdesk.reports.workbook import write_workbook
from django.test import Client
from tests import factories
from tests.house.locker import services
from tests.house.locker.models import Locker, Rent

clock.set_today(date(2026, 9, 12))
assert list(faults()) == [], list(faults())
assert "locker.add_rent" in permissions_of("Coordinator")
desk.start_books(club_name="Reedbank Archers", year_start=date(2026, 7, 1), by=shell_user())
coordinator, _ = desk.add_user(username="coordinator", role="Coordinator", password="correct-horse-7")
income = Account.objects.create(code="4035", name="Lockers", kind="income")
item = FeeItem.objects.create(code="locker", name="A locker", kind=FeeKind.OTHER, income_account=income)
FeePrice.objects.create(item=item, valid_from=date(2026, 7, 1), amount=as_amount(30))
home, locker = factories.HouseholdFactory(), Locker.objects.create(number="7")
browser = Client(SERVER_NAME="localhost")
browser.force_login(coordinator)
assert b"Lockers" in browser.get(reverse("admin:app_list", args=["locker"])).content
page = reverse("admin:roll_household_rent-locker", args=[home.pk])
asked = {"locker": locker.pk, "item": item.pk, "starts_on": "2026-07-10", "ends_on": "2026-09-25"}
answer = browser.post(page, asked | {"key": "11111111-1111-4111-8111-111111111111"})
assert answer.status_code == 302, answer.content
rent = Rent.objects.get()
assert balance(home).amount == 30
assert b"Locker 7" in browser.get(reverse("admin:find"), {"q": "locker 7"}).content
give_up = reverse("admin:locker_rent_give-up", args=[rent.pk])
answer = browser.post(give_up, {"key": "22222222-2222-4222-8222-222222222222", "on": "2026-07-11", "reason": "small"})
assert answer.status_code == 302, answer.content
assert balance(home).amount == 0
answer = browser.post(page, asked | {"key": "33333333-3333-4333-8333-333333333333", "starts_on": "2026-07-20"})
assert answer.status_code == 302, answer.content
assert [fault for result in check_all() for fault in result.faults] == []
rows = {}
with open(sys.argv[1], "wb") as file:
    write_workbook(FinancialYear.objects.get(), file, made_on=date(2026, 9, 12), made_by="the tests",
                   copies=lambda name: rows.setdefault(name, []).append)
assert rows["Lockers"][4:] == [
    ["Locker 7", home.name, date(2026, 7, 10), date(2026, 9, 25), 0],
    ["Locker 7", home.name, date(2026, 7, 20), date(2026, 9, 25), 30],
    ["Total", None, None, None, 30],
], rows["Lockers"]
print("the locker lives")
"""

FORGETS = """
import json, os, sys
import django
django.setup()
from dataclasses import replace
from clubdesk import guards, rooms
from clubdesk.desk.house import faults

# Each is forgotten in a process of its own, which begins where this one stands.
for name, forget in json.loads(sys.argv[1]).items():
    sys.stdout.flush()
    if os.fork() == 0:
        exec(forget)
        print(json.dumps([name, list(faults())]), flush=True)
        os._exit(0)
    assert os.wait()[1] == 0, name
"""

FORGOTTEN = {
    "its guard": ("del guards.KEPT['locker_rent']", "locker.Rent is guarded against nothing"),
    "the guard of its states": (
        "from clubdesk import states\ndel states.GUARDED['locker_rent']",
        "No guard holds a locker rent to its states",
    ),
    "a column of its guard": (
        "guards.KEPT['locker_rent'] = guards.Kept(guards.KEPT['locker_rent'].columns, ('state',))",
        "locker.Rent.reason is neither kept nor free",
    ),
    "that it tells of itself": ("del rooms.ROOMS['locker']", "The room locker does not tell of itself"),
    "its menu": (
        "rooms.ROOMS['locker'] = replace(rooms.ROOMS['locker'], menu=())",
        "locker.rent has a list that no menu leads to",
    ),
    "what it holds of a family": (
        "rooms.ROOMS['locker'] = replace(rooms.ROOMS['locker'], personal=())",
        "locker.Rent leads to a person and is not declared",
    ),
    "a text that somebody typed": (
        "part = rooms.ROOMS['locker'].personal[0]\n"
        "rooms.ROOMS['locker'] = replace(rooms.ROOMS['locker'], personal=(replace(part, erased=(), told=()),))",
        "locker.Rent.reason is neither told to the family, nor erased, nor declared free",
    ),
    "its sheet in the workbook": (
        "rooms.ROOMS['locker'] = replace(rooms.ROOMS['locker'], sheets=())",
        "The workbook shows nothing of the documents of locker",
    ),
    "a name for its sheet": (
        "sheet = rooms.ROOMS['locker'].sheets[0]\n"
        "sheet = replace(sheet, look=replace(sheet.look, title='Vouchers'))\n"
        "rooms.ROOMS['locker'] = replace(rooms.ROOMS['locker'], sheets=(sheet,))",
        "2 sheets of the workbook are called “Vouchers”",
    ),
    "a place for its sheet": (
        "sheet = replace(rooms.ROOMS['locker'].sheets[0], tab=rooms.ROOMS['bank'].sheets[0].tab)\n"
        "rooms.ROOMS['locker'] = replace(rooms.ROOMS['locker'], sheets=(sheet,))",
        "2 sheets of the workbook stand in place 70",
    ),
    "its roles": (
        "rooms.ROOMS['locker'] = replace(rooms.ROOMS['locker'], roles={})",
        "The verb locker.rent_locker asks for locker.add_rent, which no role has",
    ),
    "a permission that exists": (
        "rooms.ROOMS['locker'] = replace(rooms.ROOMS['locker'], roles={rooms.COORDINATOR: ('rent_lockers',)})",
        "A role in locker asks for locker.rent_lockers, which is no permission",
    ),
    "the verb of a state": (
        "from clubdesk.verbs import VERBS\ndel VERBS['locker.give_up_locker']",
        "A locker rent goes from rented to given_up by locker.give_up_locker, which is no verb",
    ),
    "a field of its form": (
        "from tests.house.locker.admin import RentForm\ndel RentForm.base_fields['locker']",
        "locker.rent_locker needs locker, which its form does not ask for",
    ),
    "the type of a field": (
        "from django import forms\nfrom tests.house.locker.admin import RentForm\n"
        "RentForm.base_fields['ends_on'] = forms.IntegerField()",
        "its form gives ends_on as IntegerField",
    ),
    "what its search box finds": (
        "from tests.house.locker.admin import RentAdmin\nRentAdmin.search_help_text = None",
        "The search box of locker.Rent does not say what it finds",
    ),
    "its search box": (
        "from tests.house.locker.admin import RentAdmin\nRentAdmin.search_fields = ()",
        "The list of locker.Rent has no search box",
    ),
    "where the rest of what is found stands": (
        "room = rooms.ROOMS['locker']\n"
        "rooms.ROOMS['locker'] = replace(room, finds=(replace(room.finds[0], page='admin:lockers'),))",
        "The finder “Lockers” leads to admin:lockers, which is no list with a search box",
    ),
    "who may find it": (
        "room = rooms.ROOMS['locker']\n"
        "rooms.ROOMS['locker'] = replace(room, finds=(replace(room.finds[0], permission='locker.find_rent'),))",
        "The finder “Lockers” asks for locker.find_rent, which is no permission",
    ),
    "that another finder is called so": (
        "room = rooms.ROOMS['locker']\nrooms.ROOMS['locker'] = replace(room, finds=room.finds * 2)",
        "2 finders find “Lockers” for whoever has locker.view_rent",
    ),
    "an address of its own": (
        "from tests.house.locker.admin import GiveUpPage\nGiveUpPage.slug = ''",
        "pages of locker.rent have the slug “”",
    ),
}


def run(script, tmp_path, *given):
    database = f"sqlite:///{tmp_path / 'book.sqlite3'}"
    own = os.environ | {"DJANGO_SETTINGS_MODULE": "tests.house.locker_settings", "DATABASE_URL": database}
    command = [sys.executable, "-c", script, *given]
    done = subprocess.run(command, cwd=ROOT, env=own, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_a_locker_rented_by_term_is_one_folder_and_one_line_in_the_list_of_rooms(tmp_path):
    workbook = tmp_path / "made.xlsx"
    assert "the locker lives" in run(LIVES, tmp_path, str(workbook))
    proofs = recalculated(workbook.read_bytes(), tmp_path)["Proof"].iter_rows(min_row=5, values_only=True)
    found = {what: (one, other, result) for what, one, other, result in proofs}
    assert found["Lockers one by one equal their income"] == (30, 30, True)
    assert [result for _, _, result in found.values()] == [True] * len(found)


def test_the_house_says_what_a_new_room_forgot(tmp_path, subtests):
    told = run(FORGETS, tmp_path, json.dumps({name: forget for name, (forget, _) in FORGOTTEN.items()}))
    said = dict(json.loads(line) for line in told.splitlines())
    for name, (_, sentence) in FORGOTTEN.items():
        with subtests.test(name):
            assert sentence in "\n".join(said[name])


def test_nothing_else_in_the_house_knows_of_the_locker():
    ours = [*(ROOT / "clubdesk").rglob("*.py"), *(ROOT / "templates").rglob("*.html")]
    assert [path for path in ours if "locker" in path.read_text().lower()] == []

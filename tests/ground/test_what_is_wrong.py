"""What is wrong with a form stands in one list above it, and each line leads to its field.

Source: GOV.UK Design System, error summary: first on the page, links to the fields, the title begins with “Error:”.
"""

import re
import uuid

import pytest
from django import forms

from clubdesk.desk.templatetags.faults import Fault, faults
from tests import factories


class Asked(forms.Form):
    name = forms.CharField(label="Name")
    way = forms.ChoiceField(label="Way", choices=[("a", "A")], widget=forms.RadioSelect)
    key = forms.UUIDField(widget=forms.HiddenInput)

    def clean(self):
        raise forms.ValidationError("Both cannot be.")


def test_each_fault_is_told_with_its_label_and_leads_to_its_field():
    told = faults(Asked({"key": "x"}))["faults"]
    assert told == [
        Fault("Both cannot be."),
        Fault("Name: Fill this in.", "id_name"),
        Fault("Way: Choose one.", "id_way_0"),
        Fault("Enter a valid UUID."),
    ]


def test_a_form_that_was_not_sent_has_no_faults():
    assert faults(Asked(), None, [])["faults"] == []


def test_rows_of_a_set_are_told_too():
    rows = forms.formset_factory(Asked)({"form-TOTAL_FORMS": 1, "form-INITIAL_FORMS": 0, "form-0-name": "x"})
    assert Fault("Way: Choose one.", "id_form-0-way_0") in faults(rows)["faults"]


@pytest.mark.django_db
@pytest.mark.parametrize("address", ["receipt/", "change/"])
def test_a_page_says_it_first_and_every_link_leads_to_a_field_that_is_there(client, coordinator, address):
    home = factories.HouseholdFactory()
    client.force_login(coordinator)
    sent = {"key": uuid.uuid4(), "amount": "x", "name": ""}
    for formset, first in (("guardians", 0), ("people", 0)):
        sent |= {f"{formset}-TOTAL_FORMS": 1, f"{formset}-INITIAL_FORMS": first, f"{formset}-0-email": "no mail"}
    page = client.post(f"/roll/household/{home.pk}/{address}", sent).content.decode()
    assert re.search(r"<title>\s*Error: ", page)
    listed = re.search(r'<div class="errornote faults".*?</div>', page, re.S).group()
    assert "autofocus" in listed
    ids = re.findall(r'href="#([^"]+)"', listed)
    assert ids
    assert all(f'id="{each}"' in page for each in ids), ids
    assert page.index('class="errornote faults"') < min(page.index(f'id="{each}"') for each in ids)

"""Forms of the entry fund that are not an admin page's: what a family sends, and what a committee decides."""

import uuid
from datetime import timedelta
from typing import Any

from django import forms

from clubdesk import clock
from clubdesk.entryfund.models import StateEvent
from clubdesk.evidence import EvidenceField
from clubdesk.money import AmountFormField
from clubdesk.roll.models import Household, Person
from clubdesk.screens.fields import DayField

LATEST_CLAIM = timedelta(days=183)


class FamilyClaimForm(forms.Form):
    """A family claims an entry fee back."""

    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    person = forms.ModelChoiceField(Person.objects.none(), label="Child")
    event = forms.ModelChoiceField(StateEvent.objects.none())
    receipt_amount = AmountFormField(label="What the receipt says")
    receipt = EvidenceField()
    entry_shown = forms.BooleanField(label="The receipt shows my child’s name and this event", required=False)

    def __init__(self, *args: Any, household: Household, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        today = clock.today()
        people, events = self.fields["person"], self.fields["event"]
        assert isinstance(people, forms.ModelChoiceField)
        assert isinstance(events, forms.ModelChoiceField)
        people.queryset = household.people.filter(erased_on=None)
        events.queryset = StateEvent.objects.filter(
            refunded=True, held_on__lte=today, held_on__gte=today - LATEST_CLAIM
        )


class FamilyAnswerForm(forms.Form):
    answer = forms.CharField(max_length=200, required=False, widget=forms.Textarea(attrs={"rows": 3}))
    more = EvidenceField(label="Another file", required=False)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


class DayForm(forms.Form):
    on = DayField(label="Decided on")

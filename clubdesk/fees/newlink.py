"""A family that has no link, or one that ended, asks for a new one; the page answers everybody alike."""

import uuid

from allauth.core import ratelimit
from django import forms
from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache

from clubdesk.fees import services
from clubdesk.roll.views import family_page

ANSWER = (
    "If the club writes to this address, a letter with a link is on its way. A letter goes to an address at most three "
    "times an hour."
)
"""Source: OWASP Forgot Password Cheat Sheet, “return a consistent message for both existent and non-existent
accounts”, and in a uniform time.
"""


class NewLinkForm(forms.Form):
    required_css_class = "required"
    email = forms.EmailField(
        label="Your e-mail address", widget=forms.EmailInput(attrs={"autocomplete": "email", "inputmode": "email"})
    )
    key = forms.UUIDField(widget=forms.HiddenInput)


@never_cache
def ask_for_link(request: HttpRequest) -> HttpResponse:
    """The form, and after it the same answer whatever the book knows, and whether the limit was reached."""
    form = NewLinkForm(request.POST or None, label_suffix="", initial={"key": uuid.uuid4()})
    asked = request.method == "POST" and form.is_valid()
    if asked:
        email = form.cleaned_data["email"]
        if ratelimit.consume(request, action="family_link", key=email.lower()):
            services.send_new_link(email=email, key=form.cleaned_data["key"])
    status = 422 if form.errors else 200
    return family_page(
        request, "book/new_link.html", "A new link", status=status, form=form, asked=ANSWER if asked else ""
    )

"""Pages of signing in that are our own: an invitation."""

from collections.abc import Mapping

from allauth.account.internal.flows.login import record_authentication
from allauth.account.utils import perform_login
from allauth.account.views import LoginView
from django import forms
from django.contrib.auth.models import User
from django.contrib.auth.password_validation import password_validators_help_texts, validate_password
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.template.response import TemplateResponse
from django.views.decorators.cache import never_cache

from clubdesk.desk.models import Seen
from clubdesk.desk.signin import invitations
from clubdesk.desk.signin.record import note
from clubdesk.errors import Refused
from clubdesk.ledger.models import Book


class SignIn(LoginView):  # type: ignore[misc] # it has no types
    """The page to sign in; a demo says that it asks for less than a club's own books."""

    def get_form(self, form_class: type[forms.Form] | None = None) -> forms.Form:
        form: forms.Form = super().get_form(form_class)
        form.label_suffix = ""
        form.fields["login"].label, form.fields["password"].help_text = "Username or e-mail", ""
        for field in form.fields.values():
            field.widget.attrs.pop("placeholder", None)
        return form

    def get_context_data(self, **given: object) -> dict[str, object]:
        return {**super().get_context_data(**given), "is_demo": Book.objects.filter(is_demo=True).exists()}


class PasswordForm(forms.Form):
    password = forms.CharField(
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text=" ".join(password_validators_help_texts()),
        strip=False,
    )

    def __init__(self, sent: Mapping[str, str] | None, user: User):
        super().__init__(sent, label_suffix="")
        self.user = user

    def clean_password(self) -> str:
        password = str(self.cleaned_data["password"])
        validate_password(password, self.user)
        return password


@never_cache
def invitation(request: HttpRequest, token: str) -> HttpResponseBase:
    """Choose how to sign in: a password, or a code by mail each time."""
    try:
        user = invitations.user_of(token)
    except Refused as refusal:
        return TemplateResponse(request, "account/no_invitation.html", {"sentence": refusal.sentence}, status=404)
    by_code = request.POST.get("act") == "code" and bool(user.email)
    form = PasswordForm(request.POST if request.method == "POST" and not by_code else None, user=user)
    if request.method == "POST" and (by_code or form.is_valid()):
        user.set_password(None if by_code else form.cleaned_data["password"])
        user.save(update_fields=["password"])
        invitations.knows_its_mail(user)
        note(Seen.PASSWORD, user, request, "chose a code by mail" if by_code else "chose a password")
        if not by_code:  # who has just chosen it is not asked for it again before the second step
            record_authentication(request, user, method="password", reauthenticated=True)
        answer: HttpResponseBase = perform_login(request, user, email_verification="none")
        return answer
    status = 422 if form.errors else 200
    return TemplateResponse(request, "account/invitation.html", {"form": form, "invited": user}, status=status)

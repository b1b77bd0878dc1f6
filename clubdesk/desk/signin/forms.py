"""Forms of django-allauth's in our words."""

from typing import Any

from allauth.mfa.webauthn.forms import AddWebAuthnForm


class AddPasskeyForm(AddWebAuthnForm):  # type: ignore[misc] # it has no types
    """A passkey also signs in by itself, unless its owner says otherwise."""

    def __init__(self, *given: Any, **named: Any):
        named["initial"] = {"name": "Passkey", "passwordless": True, **named.get("initial", {})}
        super().__init__(*given, **named)
        field = self.fields["passwordless"]
        field.label, field.help_text = "It signs me in by itself", "Without a name and a password."
        self.fields["name"].help_text = "Such as “my phone”, to know it again."

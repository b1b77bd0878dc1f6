"""What a verb raises when a rule says no."""

from django.core.exceptions import ValidationError


class Refused(ValidationError):
    """A rule said no; the message tells a volunteer what is wrong and what to do, and nothing was saved."""

    @property
    def sentence(self) -> str:
        return " ".join(self.messages)

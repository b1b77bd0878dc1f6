from django.apps import AppConfig

from clubdesk import guards


class EntryfundConfig(AppConfig):
    name = "clubdesk.entryfund"
    verbose_name = "Entry fund"
    purpose = "Containers in, state entry fees refunded; nobody decides about their own."

    def ready(self) -> None:
        from clubdesk.entryfund import invariants, rules  # noqa: F401

        guards.register(*rules.GUARDS)

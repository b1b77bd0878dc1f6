from django.apps import AppConfig

from clubdesk import guards


class YearendConfig(AppConfig):
    name = "clubdesk.yearend"
    verbose_name = "Year’s end"
    purpose = "The budget, last year’s figures, the equipment register, adjustments and the close of a year."

    def ready(self) -> None:
        from clubdesk.yearend import invariants, rules  # noqa: F401

        guards.register(*rules.GUARDS)

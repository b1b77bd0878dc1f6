from django.apps import AppConfig

from clubdesk import guards


class RollConfig(AppConfig):
    name = "clubdesk.roll"
    verbose_name = "Roll"
    purpose = "Households, their guardians and their people: who comes, and who pays."

    def ready(self) -> None:
        from clubdesk.roll import rules

        guards.register(*rules.GUARDS)

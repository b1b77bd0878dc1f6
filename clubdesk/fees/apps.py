from django.apps import AppConfig

from clubdesk import guards


class FeesConfig(AppConfig):
    name = "clubdesk.fees"
    verbose_name = "Fees"
    purpose = "What things cost, what each family owes and has paid, and the vouchers that pay a part."

    def ready(self) -> None:
        from clubdesk.fees import invariants, rules  # noqa: F401

        guards.register(*rules.GUARDS)

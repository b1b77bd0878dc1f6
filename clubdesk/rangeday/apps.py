from django.apps import AppConfig

from clubdesk import guards


class RangedayConfig(AppConfig):
    name = "clubdesk.rangeday"
    verbose_name = "Range day"
    purpose = "Who signed on, what gear was hired, how it was paid, and the tin at the end of the day."

    def ready(self) -> None:
        from clubdesk.rangeday import invariants, rules  # noqa: F401

        guards.register(*rules.GUARDS)

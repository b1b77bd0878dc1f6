from django.apps import AppConfig

from clubdesk import guards


class MembershipConfig(AppConfig):
    name = "clubdesk.membership"
    verbose_name = "Membership"
    purpose = "Who is a member and until when, and what the associations are owed for it."

    def ready(self) -> None:
        from clubdesk.membership import invariants, rules  # noqa: F401

        guards.register(*rules.GUARDS)

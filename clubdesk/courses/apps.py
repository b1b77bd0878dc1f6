from django.apps import AppConfig

from clubdesk import guards


class CoursesConfig(AppConfig):
    name = "clubdesk.courses"
    verbose_name = "Courses"
    purpose = "Beginner courses: who has a place, who is next, and what waits until it starts."

    def ready(self) -> None:
        from clubdesk.courses import invariants, rules  # noqa: F401

        guards.register(*rules.GUARDS)

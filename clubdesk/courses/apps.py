from clubdesk.rooms import RoomConfig


class CoursesConfig(RoomConfig):
    name = "clubdesk.courses"
    verbose_name = "Courses"

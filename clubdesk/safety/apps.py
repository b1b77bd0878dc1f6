from clubdesk.rooms import RoomConfig


class SafetyConfig(RoomConfig):
    name = "clubdesk.safety"
    verbose_name = "A safe day"

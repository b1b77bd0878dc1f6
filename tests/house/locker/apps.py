from clubdesk.rooms import RoomConfig


class LockerConfig(RoomConfig):
    name = "tests.house.locker"
    label = "locker"
    verbose_name = "Lockers"

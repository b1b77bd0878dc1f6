from clubdesk.rooms import RoomConfig


class BankConfig(RoomConfig):
    name = "clubdesk.bank"
    verbose_name = "Bank"

from clubdesk.rooms import RoomConfig


class LedgerConfig(RoomConfig):
    name = "clubdesk.ledger"
    verbose_name = "Ledger"

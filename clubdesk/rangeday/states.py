"""How what a phone sent, and a piece of kit, go on their way."""

from clubdesk.states import States

TAP = States(
    "phone entry",
    first=("done", "undone"),
    table={
        "done": {"question": "rangeday.receive_tap", "undone": "rangeday.receive_tap"},
        "question": {
            "done": "rangeday.receive_tap",
            "undone": "rangeday.receive_tap",
            "answered": "rangeday.answer_tap",
        },
        "answered": {"question": "rangeday.receive_tap", "undone": "rangeday.receive_tap"},
        "undone": {},
    },
)
KIT = States(
    "piece of kit",
    first=("usable",),
    table={
        "usable": {"set_aside": "rangeday.set_kit_aside", "retired": "rangeday.set_kit_aside"},
        "set_aside": {"usable": "rangeday.find_kit_fit", "retired": "rangeday.set_kit_aside"},
        "retired": {"usable": "rangeday.find_kit_fit", "set_aside": "rangeday.set_kit_aside"},
    },
)

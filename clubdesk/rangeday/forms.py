"""Form fields of the range day: notes and coins counted by their worth."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.conf import settings

from clubdesk.money import from_cents, shown


class PiecesWidget(forms.MultiWidget):
    """A small box a note or coin, with what they come to beside it while they are typed."""

    template_name = "rangeday/pieces.html"
    use_fieldset = True

    def __init__(self, attrs: dict[str, Any] | None = None):
        boxes: dict[str, forms.Widget | type[forms.Widget]] = {
            str(cents): forms.NumberInput({"inputmode": "numeric", "min": 0, "step": 1, "data-cents": cents})
            for cents in settings.CASH_PIECES
        }
        super().__init__(boxes, attrs)

    def decompress(self, value: Mapping[int, int] | None) -> list[int | None]:
        return [(value or {}).get(cents) for cents in settings.CASH_PIECES]

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        context = super().get_context(name, value, attrs)
        for cents, box in zip(settings.CASH_PIECES, context["widget"]["subwidgets"], strict=True):
            box["worth"] = shown(from_cents(cents))
        return context


class PiecesField(forms.MultiValueField):
    """How many of each note and coin; gives {cents: number}. A box left empty counts as none."""

    widget = PiecesWidget

    def __init__(self, **kwargs: Any):
        boxes = [
            forms.IntegerField(
                required=False,
                min_value=0,
                max_value=99_999,
                error_messages={
                    "invalid": "Write how many, as a whole number.",
                    "min_value": "Write how many: 0 or more.",
                },
            )
            for _ in settings.CASH_PIECES
        ]
        super().__init__(boxes, required=False, require_all_fields=False, **kwargs)

    def compress(self, data_list: list[int | None]) -> dict[int, int]:
        return {cents: number for cents, number in zip(settings.CASH_PIECES, data_list, strict=False) if number}

    def clean(self, value: Any) -> Any:
        return super().clean(value) or {}

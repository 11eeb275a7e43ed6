"""Fields of our forms: numbers with units and ranges, words from a list, text without odd characters."""

import re
import unicodedata
from collections.abc import Callable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from collection.forms.numbers import NotANumber, read_number, read_turns

# Control characters (but tab and line breaks), lone surrogates, the invisible marks that turn text around, what stands
# for bytes that were no text, and what never is a character.
_ODD = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\u202a-\u202e\u2066-\u2069\ufdd0-\ufdef\ufffd-\uffff]"
)
_LINE_BREAK = re.compile("[\n\r\u2028\u2029]")
#: Kinds of characters that leave ink: letters, digits, punctuation, signs. Marks, spaces and joiners alone do not, nor
#: do some letters that only fill a place.
_INK = "LNPS"
_BLANK = "\u115f\u1160\u2800\u3164\uffa0"

#: What a list says where nothing, or nothing of it, was chosen.
CHOOSE = dict.fromkeys(("required", "invalid_choice"), "Choose one of the answers shown.")


class TextField(forms.CharField):
    """A line of text, or several in a text area, without the spaces around it; otherwise kept as it was typed.

    Characters that cannot be shown are refused by name, so are breaks in a single line, which a browser would drop
    without a word, and a text in which nothing can be seen.
    """

    default_error_messages = {"required": "Write a word or two here."}

    def to_python(self, value: Any) -> str:
        """Return the text, or raise ValidationError with the remedy."""
        text = refuse_odd(str(super().to_python(value)))
        if not isinstance(self.widget, forms.Textarea) and _LINE_BREAK.search(text):
            raise ValidationError("Write it in one line.", code="line_break")
        if text and not any(unicodedata.category(each)[0] in _INK and each not in _BLANK for each in text):
            raise ValidationError("Write something that can be seen.", code="unseen")
        return text


class NumberField(TextField):
    """A number as it was typed; ``read(text)`` gives its value, checked against the range.

    The cleaned value is a float, or None when the field may stay empty. ``unit`` is shown inside the field's end.
    """

    default_error_messages = {"required": "Write a number."}
    #: What the summary of errors calls this field, where its label stands on several fields; "" for its label.
    named = ""

    def __init__(
        self,
        *,
        low: float,
        high: float,
        unit: str = "",
        above: bool = False,
        reader: Callable[[str], float] = read_number,
        **kwargs: Any,
    ) -> None:
        self.low, self.high, self.unit, self.above, self.reader = low, high, unit, above, reader
        mode = "decimal" if low >= 0 else "text"  # telephone keypads have no minus key
        widget = forms.TextInput(attrs={"inputmode": mode, "autocomplete": "off", "data-unit": unit})
        kwargs.setdefault("widget", widget)
        super().__init__(**kwargs)

    def clean(self, value: Any) -> float | None:
        """Return the number, or raise ValidationError with the remedy."""
        text = super().clean(value)
        if not text:
            return None
        try:
            number = self.reader(text)
        except NotANumber as error:
            raise ValidationError(str(error), code="not_a_number") from error
        if not self.low <= number <= self.high or (self.above and number == self.low):
            raise ValidationError(f"Write a number {self.range_words}.", code="out_of_range")
        return number

    @property
    def range_words(self) -> str:
        """The range in words, with its unit."""
        unit = f" {self.unit}" if self.unit else ""
        if self.above:
            return f"above {self.low:g} and up to {self.high:g}{unit}"
        return f"from {self.low:g} to {self.high:g}{unit}".replace("-", "−")


class TurnsField(NumberField):
    """Turns of a leveler: decimals or fractions such as 6 1/2."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"unit": "turns", "reader": read_turns, **kwargs})
        self.widget.attrs["inputmode"] = "text"  # a fraction needs the slash


class WordField(forms.ChoiceField):
    """One word from a short list, shown as a group of buttons; choices are (stored, shown)."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.RadioSelect)
        super().__init__(**kwargs)
        self.error_messages.update(CHOOSE)


class WordsField(forms.MultipleChoiceField):
    """Several words from a list, shown as a group of ticks; choices are (stored, shown).

    ``wanted`` says that the field is no free choice: the form asks for it where it matters.
    """

    wanted = True

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.CheckboxSelectMultiple)
        super().__init__(**kwargs)
        self.error_messages.update(CHOOSE)


class AddressField(forms.EmailField):
    """An e-mail address, in small letters."""

    default_error_messages = {
        "required": "Write an e-mail address.",
        "invalid": "Write an e-mail address such as name@example.org.",
    }

    def to_python(self, value: Any) -> str:
        """Return the address, or raise ValidationError with the remedy."""
        return refuse_odd(str(super().to_python(value))).lower()


def refuse_odd(text: str) -> str:
    """Return the text, or raise ValidationError if it holds a character that cannot be shown or stored."""
    found = _ODD.search(text)
    if found:
        raise ValidationError(
            f"Take out the character U+{ord(found.group()):04X}: it cannot be shown.", code="odd_character"
        )
    return text

"""Labels of parts on a shelf, as racers and spreadsheets write them."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from functools import lru_cache


# A log asks for the same few labels again and again. `typed`, since True equals 1.
@lru_cache(maxsize=4096, typed=True)
def label_key(label: str | float) -> str:
    """The one key of a label, however it was written: '72', 72.0, ' 72 ' and '#72' are one; so are 'b7-x' and 'B7 – X'.

    Raises ValueError for a label that is empty or true/false.
    """
    if isinstance(label, bool):
        raise ValueError(f"{label} is not the label of a part; write its number or name")
    text = "".join(str(label).split()).casefold().lstrip("#").translate(_DASHES)
    if not text:
        raise ValueError("the label of a part is empty; write its number or name")
    try:
        number = Decimal(text)
    except InvalidOperation:
        return text
    return f"{number.normalize():f}" if number.is_finite() else text


_DASHES = str.maketrans("‐‑‒–—−", "------")

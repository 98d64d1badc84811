"""Text from outside, made safe to show: no control, format, private or line-breaking characters, and bounded."""

import unicodedata

_UNSAFE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
ELLIPSIS = "\N{HORIZONTAL ELLIPSIS}"
"""Stands last where a text was cut: nobody takes a part of a remark for the whole."""


def clean(text: str, longest: int = 64) -> str:
    """Replace every character that could steer a terminal or hide in a line by U+FFFD; a longer text ends in an ellipsis.

    Notes
    -----
    Categories Cc, Cf, Cs, Co, Cn, Zl, Zp of the Unicode character database (Unicode Standard Annex 44).
    """
    head = text if len(text) <= longest else (text[: longest - 1] + ELLIPSIS)[: max(0, longest)]
    if head.isascii() and head.isprintable():
        return head
    return "".join(REPLACEMENT if unicodedata.category(char) in _UNSAFE else char for char in head)

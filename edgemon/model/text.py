"""Text from outside, made safe to show: no control, format, private or line-breaking characters, and bounded."""

import unicodedata

_UNSAFE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
REPLACEMENT = "\N{REPLACEMENT CHARACTER}"


def clean(text: str, longest: int = 64) -> str:
    """Replace every character that could steer a terminal or hide in a line by U+FFFD, and cut.

    Notes
    -----
    Categories Cc, Cf, Cs, Co, Cn, Zl, Zp of the Unicode character database (Unicode Standard Annex 44).
    """
    head = text[:longest]
    if head.isascii() and head.isprintable():
        return head
    return "".join(REPLACEMENT if unicodedata.category(char) in _UNSAFE else char for char in head)

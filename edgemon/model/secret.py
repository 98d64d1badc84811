"""Passwords, kept from view."""


class Secret(str):
    """A text that shows itself to nobody: `repr` and logs get dots."""

    __slots__ = ()

    def __repr__(self) -> str:
        """Hide the text."""
        return "Secret(***)"

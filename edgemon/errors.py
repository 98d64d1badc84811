"""The tree of errors: whose fault it is decides the class, and every error says what, where and what to do next."""

from typing import ClassVar


class EdgemonError(Exception):
    """Base of every error of the house.

    Parameters
    ----------
    what : str
        What is wrong, in one sentence.
    where : str
        File and line, field, topic or table; empty if it has no place.
    hint : str
        What a person should do next; empty if nothing sensible can be said.
    """

    def __init__(self, what: str, where: str = "", hint: str = "") -> None:
        super().__init__(what, where, hint)
        self.what = what
        self.where = where
        self.hint = hint

    def __str__(self) -> str:
        """Give the message as a person reads it."""
        text = f"{self.where}: {self.what}" if self.where else self.what
        return f"{text} ({self.hint})" if self.hint else text


class SettingsError(EdgemonError):
    """The author of a settings file wrote something that cannot be used."""


class ParameterError(EdgemonError, ValueError):
    """Our own caller passed nonsense: a bug, not caught below the daemon."""


class DecodeError(EdgemonError):
    """A message that cannot be used; becomes a rejected message, never a crash."""

    cause: ClassVar[str] = "not-decodable"


class UnknownTopic(DecodeError):
    """A topic that the contract does not know, or an identifier outside its alphabet."""

    cause = "unknown-topic"


class UnknownSensor(DecodeError):
    """A sensor that the plant file does not name."""

    cause = "unknown-sensor"


class UnknownFormat(DecodeError):
    """Bytes that are neither of the formats the topic allows, or fields of the wrong kind."""

    cause = "unknown-format"


class Truncated(DecodeError):
    """Fewer bytes than the message says it has."""

    cause = "truncated"


class OutOfRange(DecodeError):
    """Well-formed, but a number or a size no sensor can mean."""

    cause = "out-of-range"


class TooLarge(DecodeError):
    """Larger than the gateway accepts."""

    cause = "too-large"


class StoreError(EdgemonError):
    """The disk or the database file does not do what is asked of it."""


class StoreFull(StoreError):
    """No space left: stop acknowledging, keep watching."""


class StoreSlow(StoreError):
    """The disk does not answer in time; what was asked of it may still be done."""


class StoreCorrupt(StoreError):
    """The file is damaged."""


class StoreRefused(StoreError):
    """Not a file for us: another program's, open in another gateway, or on a disk that does not do. Waiting is no help."""


class StoreTooNew(StoreError):
    """The file was written by a newer version and is left alone."""


class LinkError(EdgemonError):
    """The far end of a link."""

    retry: ClassVar[bool] = True


class LinkDown(LinkError):
    """The far end cannot be reached: back off and try again."""


class LinkRefused(LinkError):
    """The far end said no: trying the same again does not help."""

    retry = False


class LinkUnwilling(LinkRefused):
    """The far end said no for a reason that a person there can lift: rights, quota."""

"""Why an alarm is there and what to do about it: what a site wrote down when it agreed on the alarm."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Response:
    """What the operator is told of an alarm; empty where nothing was written.

    Source: the rationalisation record of ANSI/ISA-18.2-2016 and IEC 62682:2014, as told in secondary texts.
    """

    cause: str = ""
    """Likely causes."""
    consequence: str = ""
    """What happens if nothing is done."""
    action: str = ""
    """What to do; an alarm without an action is none."""
    confirm: str = ""
    """Where to look whether it is true."""
    within_s: float | None = None
    """Time to respond, from the call to the point of no return."""

"""The one table of severity and state: word, mark, digit, colour; and the palettes its colours come from.

Colour means abnormal and is never alone: shape, fill, word and a digit (1 alert, 2 alarm) say the same. The hues are taken
from the 256-colour table so that they come out alike in true colour, 256 and 16 colours; tests compute contrast (WCAG 2.1
success criterion 1.4.3) and separation under three colour-vision deficiencies (Machado et al. 2009).
"""

from dataclasses import dataclass
from enum import StrEnum


class Role(StrEnum):
    """What a piece of text is for; a palette says how that looks."""

    TEXT = "text"
    DIM = "dim"
    BRIGHT = "bright"
    NEAR = "near"
    RULE = "rule"
    BANNER = "banner"
    BANNER_DIM = "banner-dim"
    ALARM = "alarm"
    ALARM_FILL = "alarm-fill"
    ALERT = "alert"
    ALERT_FILL = "alert-fill"
    NO_DATA = "no-data"
    NO_DATA_FILL = "no-data-fill"


@dataclass(frozen=True, slots=True)
class Paint:
    """Ink, ground, and the ground where the row is selected, as `#rrggbb`."""

    ink: str
    ground: str
    selected: str
    bold: bool = False


def _palette(
    ground: str, raised: str, greys: tuple[str, str, str, str, str], hues: tuple[str, str, str], on: str
) -> dict[Role, Paint]:
    dim, text, near, bright, rule = greys
    alarm, alert, no_data = hues
    return {
        Role.TEXT: Paint(text, ground, raised),
        Role.DIM: Paint(dim, ground, raised),
        Role.BRIGHT: Paint(bright, ground, raised, bold=True),
        Role.NEAR: Paint(near, ground, raised, bold=True),
        Role.RULE: Paint(rule, ground, raised),
        Role.BANNER: Paint(bright, raised, raised),
        Role.BANNER_DIM: Paint(dim, raised, raised),
        Role.ALARM: Paint(alarm, ground, raised, bold=True),
        Role.ALARM_FILL: Paint(on, alarm, alarm, bold=True),
        Role.ALERT: Paint(alert, ground, raised),
        Role.ALERT_FILL: Paint(on, alert, alert, bold=True),
        Role.NO_DATA: Paint(no_data, ground, raised),
        Role.NO_DATA_FILL: Paint(on, no_data, no_data, bold=True),
    }


PALETTES: dict[str, dict[Role, Paint]] = {
    "dark": _palette(
        "#1c1c1c",
        "#262626",
        ("#949494", "#b2b2b2", "#c6c6c6", "#e4e4e4", "#767676"),
        ("#ff5f00", "#ffff5f", "#5fafff"),
        "#000000",
    ),
    "light": _palette(
        "#e4e4e4",
        "#eeeeee",
        ("#585858", "#303030", "#000000", "#000000", "#808080"),
        ("#af0000", "#000000", "#005faf"),
        "#ffffff",
    )
    | {
        Role.ALERT: Paint("#000000", "#ffaf00", "#ffaf00"),
        Role.ALERT_FILL: Paint("#ffaf00", "#000000", "#000000", bold=True),
    },
    "mono": _palette(
        "#000000",
        "#1c1c1c",
        ("#949494", "#b2b2b2", "#ffffff", "#ffffff", "#767676"),
        ("#ffffff", "#e4e4e4", "#d0d0d0"),
        "#000000",
    ),
}
"""Dark for a dim room, light for a bright one, mono where NO_COLOR is set. `RULE` draws lines and bar tracks, never words;
where limits lie on a bar is drawn with it, so that it keeps 3:1 (WCAG 2.1, 1.4.11).
No ink that reads as yellow is dark enough on a light ground, and browns fall together with reds for deuteranopes: there an
alert stands on a yellow ground. `NEAR` is bold and no brighter, for to tritanopes yellow is nearly white."""


class Show(StrEnum):
    """What a machine, point or alarm shows as; one row of `MARKS` each."""

    ALARM = "alarm"
    ALERT = "alert"
    LATCHED = "latched"
    RETURNED = "returned"
    NO_DATA = "no-data"
    DOUBTFUL = "doubtful"
    NEAR = "near"
    OUT_OF_SERVICE = "out-of-service"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"
    STOPPED = "not-running"
    NORMAL = "normal"


@dataclass(frozen=True, slots=True)
class Mark:
    """How one state is shown; glyphs are one cell wide."""

    word: str
    short: str
    """The word where eight cells must do."""
    glyph: str
    outline: str
    """The other phase of a flashing mark, without its fill: a form, never a blank."""
    ascii: str
    digit: str
    role: Role
    fill: Role


MARKS: dict[Show, Mark] = {
    Show.ALARM: Mark("alarm", "alarm", "■", "□", "#", "2", Role.ALARM, Role.ALARM_FILL),
    Show.ALERT: Mark("alert", "alert", "▲", "△", "^", "1", Role.ALERT, Role.ALERT_FILL),
    Show.LATCHED: Mark("latched", "latched", "▣", "□", "=", "L", Role.ALARM, Role.ALARM_FILL),
    Show.RETURNED: Mark("returned", "returned", "◆", "◇", "~", "R", Role.BRIGHT, Role.ALERT_FILL),
    Show.NO_DATA: Mark("no data", "no data", "?", "?", "?", " ", Role.NO_DATA, Role.NO_DATA_FILL),
    Show.DOUBTFUL: Mark("doubtful", "doubtful", "?", "?", "?", "~", Role.NO_DATA, Role.NO_DATA_FILL),
    Show.NEAR: Mark("near limit", "near", "▸", "▸", "n", " ", Role.NEAR, Role.NEAR),
    Show.OUT_OF_SERVICE: Mark("out of service", "out serv", "×", "×", "x", " ", Role.DIM, Role.DIM),
    Show.SHELVED: Mark("shelved", "shelved", "s", "s", "s", " ", Role.DIM, Role.DIM),
    Show.SUPPRESSED: Mark("suppressed", "suppress", "-", "-", "-", " ", Role.DIM, Role.DIM),
    Show.STOPPED: Mark("not running", "stopped", "·", "·", ".", " ", Role.DIM, Role.DIM),
    Show.NORMAL: Mark("normal", "normal", " ", " ", " ", " ", Role.DIM, Role.DIM),
}
"""Highest precedence first: a machine that is several of these shows the first."""

PRECEDENCE: dict[Show, int] = {show: rank for rank, show in enumerate(MARKS)}


@dataclass(frozen=True, slots=True)
class Glyphs:
    """The drawing characters; each one cell wide."""

    fill: str
    half: str
    track: str
    tick: str
    tick_filled: str
    tick_half: str
    steps: str
    """Columns of rising height, first the lowest."""
    cursor: str
    rule: str
    limit: str
    ellipsis: str
    more: str
    dot: str
    plain: bool
    """Only ASCII may be drawn."""


UNICODE = Glyphs("━", "╾", "─", "┼", "┿", "┽", "▁▂▃▄▅▆▇█", "›", "─", "╌", "…", "▾", "·", False)
ASCII = Glyphs("=", "=", "-", "|", "+", "+", "_.:-=*%#", ">", "-", "-", "~", "v", ".", True)
"""For terminals that cannot draw, or where block characters are two cells wide."""


CONSOLES = frozenset({"linux", "dumb", "ansi", "cons25", "sun", "vt52", "vt100", "vt102", "vt220"})
"""What a terminal calls itself whose font cannot be relied on to hold blocks and lines."""


def is_plain(term: str, encoding: str, colours: int | None) -> bool:
    """Say whether a terminal is drawn with ASCII only: a console, one that is not UTF-8, or one of 8 colours at most.

    Parameters
    ----------
    term, encoding : str
        What the terminal calls itself (`TERM`), and what is written to it.
    colours : int or None
        By the terminal's description; None where that is not known.
    """
    is_utf8 = encoding.casefold().replace("-", "").replace("_", "") == "utf8"
    return term.split("-")[0] in CONSOLES or not is_utf8 or (colours is not None and colours <= 8)


@dataclass(frozen=True, slots=True)
class Look:
    """How to draw at this moment."""

    glyphs: Glyphs = UNICODE
    still: bool = False
    """No flashing: what calls carries a `!` instead."""
    phase: bool = True
    """First half of the flash period."""
    mixed: bool = False
    """Some machines are simulated and some are not: each simulated one carries a `~` after its name."""

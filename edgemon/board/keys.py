"""Every key of the board, once: bindings, footers and the help screen are made from this table."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Key:
    """One key: what Textual calls it, what people call it, what it does."""

    key: str
    cap: str
    action: str
    label: str
    help: str
    needed: bool = True
    """False: the footer may leave it out where it would be crowded."""
    first: bool = False
    """It comes before whatever a question or a search would do with it."""


MOVE = Key("up,down,left,right", "arrows", "", "move", "move the selection; page up and page down turn pages", needed=False)
UP = Key("up", "up", "move(-1, 0)", "up", "select the row above")
DOWN = Key("down", "down", "move(1, 0)", "down", "select the row below")
LEFT = Key("left", "left", "move(0, -1)", "left", "select the column to the left")
RIGHT = Key("right", "right", "move(0, 1)", "right", "select the column to the right")
PAGE_UP = Key("pageup", "page up", "page(-1)", "page back", "turn one page back")
PAGE_DOWN = Key("pagedown", "page down", "page(1)", "page on", "turn one page on")
FIRST = Key("home", "home", "edge(-1)", "first", "select the first")
LAST = Key("end", "end", "edge(1)", "last", "select the last")
ABNORMAL = Key("tab", "tab", "abnormal(1)", "next abnormal", "select the next machine that is not plainly well", needed=False)
ABNORMAL_BACK = Key("shift+tab", "shift+tab", "abnormal(-1)", "last abnormal", "select the one before that is not plainly well")
OPEN = Key("enter", "enter", "open", "open", "open the machine, or the point, selected")
BACK = Key("escape", "esc", "back", "back", "go back; on the plant screen, end search and filter")
ACKNOWLEDGE = Key("a", "a", "acknowledge", "ack", "acknowledge the alarm selected, after a question that names it")
SHELVE = Key("h", "h", "shelve", "shelve", "shelve the alarm selected, with a reason; or end its shelf")
RESET = Key("r", "r", "reset", "reset", "reset a latched alarm whose condition is gone", needed=False)
SERVICE = Key("o", "o", "service", "service", "take the alarm selected out of service, or put it back (engineer)", needed=False)
UNDO = Key("u", "u", "undo", "undo", "undo the last shelf or out of service ordered here; asks first", needed=False)
SILENCE = Key("c", "c", "silence", "silence", "silence the horn; alarms stay, and a new one sounds again", needed=False)
LAMP_TEST = Key("k", "k", "lamp_test", "lamp test", "horn, beacon and board show all they can for a moment", needed=False)
PROOF = Key("y", "y", "prove", "proof", "begin a proof of alarms with simulated data, or end it (engineer)", needed=False)
NOTES = Key("n", "n", "show('notes')", "notes", "what is being simulated, and why", needed=False)
ALARMS = Key("l", "l", "show('alarms')", "list", "the alarm list")
SENSORS = Key("e", "e", "show('sensors')", "sensors", "health of the sensors: battery, link, what came of what was due")
SHIFT = Key("t", "t", "show('shift')", "shift", "shift log and handover: what changed, stands, is hidden")
WRITE = Key("w", "w", "write", "write", "write into the shift log")
TAKE = Key("enter", "enter", "take", "take over", "take the shift over, having read the page")
LOOK_1 = Key("1", "1", "mode(0)", "trend", "the trend of the level selected")
LOOK_2 = Key("2", "2", "mode(1)", "waveform", "the waveform of the newest capture")
LOOK_3 = Key("3", "3", "mode(2)", "spectrum", "its spectrum")
LOOK_4 = Key("4", "4", "mode(3)", "envelope", "the spectrum of its envelope")
NEXT_PEAK = Key("tab", "tab", "peak", "next peak", "move the cursor to the next peak", needed=False)
ZOOM_IN = Key("plus", "+", "zoom(1)", "closer", "show less: of time, or of frequency")
ZOOM_OUT = Key("minus", "-", "zoom(-1)", "wider", "show more", needed=False)
MARK_FAULTS = Key("m", "m", "mark('faults')", "marks", "show or hide where parts of the machine are heard", needed=False)
MARK_HARMONICS = Key("x", "x", "mark('harmonics')", "harmonics", "mark the multiples of the cursor", needed=False)
MARK_SIDEBANDS = Key(
    "b", "b", "mark('sidebands')", "sidebands", "mark one turn of the shaft to either side of it", needed=False
)
MARK_BASELINE = Key(
    "v", "v", "mark('baseline')", "baseline", "show or hide the lines as they were in the baseline", needed=False
)
DIAGNOSE = Key("d", "d", "diagnose", "diagnose", "have the newest capture diagnosed, after a question", needed=False)
COLLECT = Key("f", "f", "collect", "faster", "measure more often for a while, or the routine again (engineer)", needed=False)
FIGURES = Key("p", "p", "show('performance')", "figures", "alarm performance beside the figures asked for", needed=False)
LONGER = Key("plus", "+", "period(1)", "longer", "the figures of a longer period")
SHORTER = Key("minus", "-", "period(-1)", "shorter", "the figures of a shorter period")
JOURNAL = Key("j", "j", "show('journal')", "journal", "the journal, newest first", needed=False)
FIND = Key("slash", "/", "search", "search", "search all of the journal: words, kind, machine, person, time")
OLDER = Key("plus", "+", "older", "older", "show older entries of the journal too")
COMMISSION = Key("g", "g", "show('commission')", "commission", "what stands between each point and being trusted", needed=False)
SIGN = Key("s", "s", "sign", "sign off", "sign the point selected off, or withdraw that (engineer)")
ONLY_OPEN = Key("f", "f", "filter", "only open", "show only points of which something is open, or every point again")
FILTER = Key("f", "f", "filter", "filter", "show only what is abnormal or near a limit, or everything again")
SEARCH = Key("slash", "/", "search", "find", "search machines by name; enter keeps what is found, esc ends")
SORT = Key("s", "s", "sort", "sort", "group by area, or the most severe first", needed=False)
HELP = Key("question_mark", "?", "show('help')", "help", "this page")
QUIT = Key("q", "q", "quit_board", "quit", "close the board; the daemon goes on monitoring")
QUIT_ANYWHERE = Key("ctrl+q", "ctrl+q", "quit_board", "quit", "the same, out of a question or a search too", first=True)
YES = Key("y,enter", "y, enter", "answer(True)", "yes", "yes, acknowledge")
NO = Key("escape,n", "esc, n", "answer(False)", "no", "no, change nothing")

MOVES = (UP, DOWN, LEFT, RIGHT, PAGE_UP, PAGE_DOWN, FIRST, LAST)
EVERYWHERE = (NOTES, ALARMS, SENSORS, SHIFT, FIGURES, JOURNAL, COMMISSION, SILENCE, LAMP_TEST, PROOF, HELP, QUIT, QUIT_ANYWHERE)
PLANT = (*MOVES, ABNORMAL, ABNORMAL_BACK, OPEN, ACKNOWLEDGE, FILTER, SEARCH, SORT, BACK)
MACHINE = (UP, DOWN, PAGE_UP, PAGE_DOWN, FIRST, LAST, OPEN, ACKNOWLEDGE, BACK)
LOOKS = (
    LOOK_1,
    LOOK_2,
    LOOK_3,
    LOOK_4,
    NEXT_PEAK,
    ZOOM_IN,
    ZOOM_OUT,
    MARK_FAULTS,
    MARK_HARMONICS,
    MARK_SIDEBANDS,
    MARK_BASELINE,
    DIAGNOSE,
    COLLECT,
)
POINT = (LEFT, RIGHT, PAGE_UP, PAGE_DOWN, FIRST, LAST, *LOOKS, ACKNOWLEDGE, BACK)
LIST = (UP, DOWN, PAGE_UP, PAGE_DOWN, FIRST, LAST, BACK)
ALARM_LIST = (UP, DOWN, PAGE_UP, PAGE_DOWN, FIRST, LAST, OPEN, ACKNOWLEDGE, SHELVE, RESET, SERVICE, UNDO, BACK)
SHIFT_PAGE = (*LIST, WRITE, TAKE)
FIGURES_PAGE = (*LIST, LONGER, SHORTER)
JOURNAL_PAGE = (*LIST, FIND, OLDER)
COMMISSION_PAGE = (*LIST, OPEN, SIGN, ONLY_OPEN)
QUESTION = (YES, NO)

FOOTERS: dict[str, tuple[Key, ...]] = {
    "plant": (
        ACKNOWLEDGE,
        OPEN,
        ALARMS,
        SENSORS,
        SHIFT,
        NOTES,
        JOURNAL,
        FILTER,
        SEARCH,
        SORT,
        HELP,
        QUIT,
        SILENCE,
        FIGURES,
        MOVE,
        ABNORMAL,
        LAMP_TEST,
    ),
    "point": (
        BACK,
        LOOK_1,
        LOOK_2,
        LOOK_3,
        LOOK_4,
        ACKNOWLEDGE,
        ZOOM_IN,
        HELP,
        NEXT_PEAK,
        MARK_FAULTS,
        ZOOM_OUT,
        MARK_HARMONICS,
        MARK_SIDEBANDS,
        MARK_BASELINE,
        DIAGNOSE,
        MOVE,
        COLLECT,
    ),
    "machine": (BACK, OPEN, ACKNOWLEDGE, ALARMS, SENSORS, SHIFT, NOTES, JOURNAL, HELP, QUIT, MOVE),
    "alarms": (
        BACK,
        ACKNOWLEDGE,
        SILENCE,
        SHELVE,
        OPEN,
        SENSORS,
        SHIFT,
        NOTES,
        JOURNAL,
        HELP,
        QUIT,
        RESET,
        SERVICE,
        UNDO,
        FIGURES,
        MOVE,
        LAMP_TEST,
    ),
    "notes": (BACK, ALARMS, SENSORS, SHIFT, JOURNAL, HELP, QUIT, MOVE),
    "performance": (BACK, LONGER, SHORTER, ALARMS, SHIFT, JOURNAL, HELP, QUIT, MOVE),
    "shift": (BACK, WRITE, TAKE, ALARMS, SENSORS, JOURNAL, HELP, QUIT, FIGURES, MOVE),
    "sensors": (BACK, ALARMS, SHIFT, NOTES, JOURNAL, HELP, QUIT, MOVE),
    "journal": (BACK, FIND, OLDER, ALARMS, SENSORS, SHIFT, NOTES, HELP, QUIT, MOVE),
    "commission": (BACK, SIGN, ONLY_OPEN, OPEN, ALARMS, SENSORS, HELP, QUIT, PROOF, MOVE),
    "lamps": (BACK, ALARMS, HELP, QUIT),
    "help": (BACK, ALARMS, SENSORS, SHIFT, NOTES, JOURNAL, QUIT, MOVE),
}
"""What the footer of each screen shows, the most needed first: narrow screens show the first ones."""

HELPED: tuple[tuple[str, tuple[Key, ...]], ...] = (
    ("Everywhere", (*EVERYWHERE, BACK)),
    ("Plant", (*MOVES, ABNORMAL, ABNORMAL_BACK, OPEN, ACKNOWLEDGE, FILTER, SEARCH, SORT)),
    ("Machine and lists", (UP, DOWN, PAGE_UP, PAGE_DOWN, FIRST, LAST, OPEN, ACKNOWLEDGE)),
    ("Point", LOOKS),
    ("Alarm list", (SHELVE, RESET, SERVICE, UNDO)),
    ("Shift", (WRITE, TAKE)),
    ("Alarm performance", (LONGER, SHORTER)),
    ("Journal", (FIND, OLDER)),
    ("Commissioning", (SIGN, ONLY_OPEN)),
    ("Question", QUESTION),
)
"""Every key, for the help screen."""

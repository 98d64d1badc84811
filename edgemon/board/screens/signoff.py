"""Signing a point off, and taking that back: a question with a name, a remark and a confirmation."""

from collections.abc import Callable

from edgemon.board.screens.ask import Question, ask
from edgemon.board.screens.base import BoardScreen
from edgemon.board.screens.question import permitted
from edgemon.board.view.cells import safe
from edgemon.board.view.commission import forbidden, title
from edgemon.errors import ParameterError
from edgemon.model.commission import CommissionRow
from edgemon.model.signoff import check


def sign(screen: BoardScreen, row: CommissionRow, then: Callable[[], None]) -> None:
    """Ask about signing a point off where nobody has, and about taking back a sign-off that holds."""
    person = permitted(screen, row.machine)
    if person is None:
        return
    if why := forbidden(person):
        screen.say(why)
        return
    source, where = screen.desk.source, (row.machine, row.point)
    if row.sign is not None and row.sign.holds:
        one = Question(
            f"Withdraw the sign-off of {title(row)}?", f"it was given by {safe(row.sign.by, 50)}", "because", must=True
        )
        ask(screen, one, lambda reason: source.withdraw_sign_off(*where, reason), then, row.machine)
        return
    left_open = tuple(one.name for one in row.missing)
    try:
        check(row, "a remark is asked for")
    except ParameterError as error:
        screen.say(f"Nothing was signed: {safe(error.what, 200)}.")
        return
    means = f"left open: {', '.join(left_open)}" if left_open else "nothing is open"
    one = Question(f"Sign {title(row)} off?", means, "remark", must=bool(left_open))
    ask(screen, one, lambda remark: source.sign_off(*where, remark, left_open), then, row.machine)

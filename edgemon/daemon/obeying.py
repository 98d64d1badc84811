"""Which part of the engine does what a person commands; what is not begun while the store fails."""

from edgemon.daemon.work import AnyCommand
from edgemon.engine import collection, judge, proof, signoff
from edgemon.engine.draft import Judgement
from edgemon.engine.memory import Memory, Setting
from edgemon.engine.silence import silence
from edgemon.errors import StoreError
from edgemon.model.collection import StartFast, StopFast
from edgemon.model.command import ApproveBaseline, Person, ProposeBaseline, RetireBaseline, Silence
from edgemon.model.instant import Instant
from edgemon.model.proof import StartProof, StopProof
from edgemon.model.signoff import SignOff, WithdrawSignOff


def obey(
    filed: Setting,
    setting: Setting,
    memory: Memory,
    command: AnyCommand,
    person: Person,
    now: Instant,
    failing: Exception | None = None,
) -> Judgement:
    """Do what a person commands, or journal why not.

    Parameters
    ----------
    filed, setting : Setting
        Of the plant file alone; and with the limits that baselines lead to.
    failing : Exception, optional
        What the store fails with; None while it works.

    Raises
    ------
    EdgemonError
        It cannot be done, and why.
    """
    if failing is not None and (why := _waits(command)):
        raise StoreError(f"{why} while the store fails", "", str(failing))
    match command:
        case Silence():
            return silence(setting, memory, person, now)
        case StartFast() | StopFast():
            return collection.obey(setting, memory, command, person, now)
        case StartProof() | StopProof():
            return proof.obey(setting, memory, command, person, now)
        case SignOff() | WithdrawSignOff():
            return signoff.obey(filed, memory, command, person, now)
        case ProposeBaseline() | ApproveBaseline() | RetireBaseline():
            return judge.baseline(filed, memory, command, person, now)
        case _:
            return judge.command(setting, memory, command, person, now)


def _waits(command: AnyCommand) -> str:
    """Say what is not done before the store works again; empty where the command does not wait for it."""
    match command:
        case ProposeBaseline() | ApproveBaseline() | RetireBaseline():
            return "limits are not changed"
        case StartProof():
            return "no proof is begun"
        case StartFast():
            return "no fast collection is begun"
        case SignOff() | WithdrawSignOff():
            return "no point is signed off, and no sign-off withdrawn,"
        case _:
            return ""

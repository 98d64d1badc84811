"""The commissioning state, put together from what is remembered, the store, the journal and the upstreams."""

from collections.abc import Awaitable, Callable, Sequence

from edgemon.clock import Clock
from edgemon.daemon.outcomes import answered
from edgemon.daemon.proving import Proving
from edgemon.engine.commission import Known, commission
from edgemon.engine.memory import Memory, Setting
from edgemon.errors import ParameterError
from edgemon.model.command import Person
from edgemon.model.commission import CommissionView
from edgemon.model.ids import PointKey
from edgemon.model.instant import EARLIEST, Instant
from edgemon.model.machine import point_key
from edgemon.model.signoff import SignCommand, SignOff, WithdrawSignOff, check
from edgemon.model.snapshot import Outcome
from edgemon.model.upstream import UpstreamView
from edgemon.store.port import Reader


class Commissioning:
    """Answers how far each point is, and has points signed off.

    Parameters
    ----------
    reader : Reader
        Tells since when a point has been heard.
    clock : Clock
        Time.
    proving : Proving
        What was proven.
    setting, memory, upstreams : callable
        What is in force, what is remembered, how the upstreams stand.
    command : callable
        Hands a command to the owner of the states.
    """

    def __init__(
        self,
        reader: Reader,
        clock: Clock,
        proving: Proving,
        setting: Callable[[], Setting],
        memory: Callable[[], Memory],
        upstreams: Callable[[], Sequence[UpstreamView]],
        command: Callable[[SignCommand, Person], Awaitable[Outcome]],
    ) -> None:
        self._reader = reader
        self._clock = clock
        self._proving = proving
        self._setting = setting
        self._memory = memory
        self._upstreams = upstreams
        self._command = command
        self._first: dict[PointKey, Instant] = {}

    async def view(self) -> CommissionView:
        """Give how far every point is now. Raises `StoreError`."""
        report = await self._proving.report()
        proofs = {point_key(row.machine, row.point): row for row in report.rows}
        await self._look_for_firsts()
        now = self._clock.now()
        known = Known(now, proofs, self._upstreams(), self._first)
        return CommissionView(now, commission(self._setting(), self._memory(), known))

    async def sign_off(self, point: PointKey, remark: str, seen: Sequence[str], person: Person) -> Outcome:
        """Sign a point off as it stands now; what whoever signs has not seen to be open refuses it. Raises `StoreError`."""
        return await answered(self._signed(point, remark, seen, person))

    async def _signed(self, point: PointKey, remark: str, seen: Sequence[str], person: Person) -> Outcome:
        row = next((one for one in (await self.view()).rows if point_key(one.machine, one.point) == point), None)
        if row is None:
            raise ParameterError(f"no such point: {point}")
        left_open = check(row, remark)
        if unseen := [name for name in left_open if name not in seen]:
            raise ParameterError(f"open meanwhile: {', '.join(unseen)}; look again")
        return await self._command(SignOff(point, remark, left_open), person)

    async def withdraw(self, point: PointKey, reason: str, person: Person) -> Outcome:
        """Take the sign-off of a point back. Raises `StoreError`."""
        return await answered(self._command(WithdrawSignOff(point, reason), person))

    async def _look_for_firsts(self) -> None:
        """Find out since when each point that was heard is stored; once, for the past does not change."""
        for (key, sim), state in list(self._memory().points.items()):
            if sim or key in self._first or state.fit_at is None or not state.levels:
                continue
            found = await self._reader.trend(key, state.levels[0].name, EARLIEST, self._clock.now(), False, 1, earliest=True)
            if found:
                self._first[key] = found[0].t

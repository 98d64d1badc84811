"""The part of the daemon's site that is asked about commissioning and proofs, told to begin and end them, and to sign off."""

from collections.abc import Sequence

from edgemon.daemon.commissioning import Commissioning
from edgemon.daemon.outcomes import STARTING
from edgemon.daemon.proving import Proving
from edgemon.errors import StoreError
from edgemon.model.command import Person
from edgemon.model.commission import CommissionView
from edgemon.model.ids import PointKey
from edgemon.model.instant import Duration
from edgemon.model.proof import ProofReport, Scope
from edgemon.model.snapshot import Outcome


class ProofDoor:
    """Hands on to whoever proves, once somebody does."""

    proving: Proving | None = None
    """Set by whoever proves."""
    commissions: Commissioning | None = None
    """Set with it."""

    async def start_proof(self, scope: Scope, duration_s: Duration, reason: str, person: Person) -> Outcome:
        """Announce a proof."""
        return STARTING if self.proving is None else await self.proving.start(scope, duration_s, reason, person)

    async def stop_proof(self, reason: str, person: Person) -> Outcome:
        """End the proof that is on."""
        return STARTING if self.proving is None else await self.proving.stop(reason, person)

    async def commissioning(self) -> CommissionView:
        """Say how far each point is from being trusted."""
        if self.commissions is None:
            raise StoreError(STARTING.why)
        return await self.commissions.view()

    async def sign_off(self, point: PointKey, remark: str, seen: Sequence[str], person: Person) -> Outcome:
        """Sign a point off."""
        return STARTING if self.commissions is None else await self.commissions.sign_off(point, remark, seen, person)

    async def withdraw_sign_off(self, point: PointKey, reason: str, person: Person) -> Outcome:
        """Take the sign-off of a point back."""
        return STARTING if self.commissions is None else await self.commissions.withdraw(point, reason, person)

    async def proof_report(self) -> ProofReport:
        """Say whether a proof is on, and what each point has proven."""
        if self.proving is None:
            raise StoreError(STARTING.why)
        return await self.proving.report()

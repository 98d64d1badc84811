"""What every part of the API answers alike: who may not, what became of an order, what was asked for and is not there."""

from collections.abc import Awaitable, Callable
from typing import Annotated

from fastapi import Depends, HTTPException
from fastapi.responses import Response

from edgemon.api.roles import may
from edgemon.api.wire import Document, OutcomeDocument, to_json
from edgemon.errors import EdgemonError, ParameterError
from edgemon.model.command import Person, Role
from edgemon.model.snapshot import Outcome


def at_least(role: Role, caller: Callable[..., Person], why: str) -> Callable[..., Person]:
    """Give the dependency that lets through only who may do what a role may; others are answered 403, with the reason."""

    def checked(person: Annotated[Person, Depends(caller)]) -> Person:
        if not may(person, role):
            raise HTTPException(403, f"{person.name} is a {person.role.value} here; {why}")
        return person

    return checked


async def said(order: Awaitable[Outcome]) -> OutcomeDocument:
    """Say what became of an order. Raises `HTTPException`: 404 where what it names is not there, else 503."""
    try:
        outcome = await order
    except EdgemonError as error:
        raise _refusal(error) from error
    return OutcomeDocument(done=outcome.done, why=outcome.why)


async def shown(question: Awaitable[Document]) -> Response:
    """Show what is asked for. Raises `HTTPException`: 404 where it is not there, else 503."""
    try:
        return Response(to_json(await question), media_type="application/json")
    except EdgemonError as error:
        raise _refusal(error) from error


def _refusal(error: EdgemonError) -> HTTPException:
    return HTTPException(404 if isinstance(error, ParameterError) else 503, str(error))

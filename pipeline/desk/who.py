"""Who asks, and whether they may: every route names the roles that it is for.

`Vet`, `Clinical` (vets and nurses), `Manager` and `Anyone` are the person who acts; a route that takes none is open to all.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from fastapi import Depends
from starlette.requests import HTTPConnection

from pipeline.desk.cookies import sign_in_secret
from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.errors import NotForRoleError, SignInNeededError
from pipeline.store import Actor, SignIn, sign_in_of
from pipeline.store.model import Role


def current_sign_in(connection: HTTPConnection, desk: AtDesk) -> SignIn | None:
    """Who is signed in at the browser that asks; null for nobody."""
    secret = sign_in_secret(connection)
    found = sign_in_of(desk.database, secret, desk.at(), desk.options.idle) if secret else None
    connection.state.sign_in = found
    return found


CurrentSignIn = Annotated[SignIn | None, Depends(current_sign_in)]


def _only(*roles: Role) -> Callable[..., Actor]:
    def person(sign_in: CurrentSignIn) -> Actor:
        if sign_in is None:
            raise SignInNeededError
        if sign_in.actor.role not in roles:
            raise NotForRoleError(roles)
        return sign_in.actor

    return person


def clinical_of(connection: HTTPConnection, desk: Desk) -> Actor:
    """The vet or nurse at the browser of a line that stays open. Raises SignInNeededError, NotForRoleError."""
    return _only("vet", "nurse")(current_sign_in(connection, desk))


Anyone = Annotated[Actor, Depends(_only("vet", "nurse", "manager"))]
Clinical = Annotated[Actor, Depends(_only("vet", "nurse"))]
Vet = Annotated[Actor, Depends(_only("vet"))]
Manager = Annotated[Actor, Depends(_only("manager"))]

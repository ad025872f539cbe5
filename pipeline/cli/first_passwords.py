"""The command that gives somebody a password where the desk cannot: whoever manages the practice forgot theirs."""

from __future__ import annotations

from pipeline.cli.border import CallError
from pipeline.cli.keeping import open_database, who_acts
from pipeline.cli.screen import output, remark
from pipeline.desk import passwords
from pipeline.settings import Settings
from pipeline.store import logins_of, open_account, people
from pipeline.store.stamps import now


def renew_password(settings: Settings, named: str, login: str | None) -> None:
    """Give somebody a new first password, shown this once. A manager for whom nobody else acts gives it to themselves."""
    with open_database(settings) as database:
        everybody = people(database)
        whose = who_acts(everybody, named, database.shown)
        actor = whose
        if settings.person is not None or whose.role != "manager":
            ours = [one for one in everybody if one.practice_id == whose.practice_id]
            actor = who_acts(ours, settings.person, database.shown)
        login = login or logins_of(database, whose).get(whose.person_id)
        if login is None:
            raise CallError(f"{whose.name} has no name to sign in with yet: give one with --login.")
        secret = passwords.first_password()
        account = open_account(
            database, actor, whose.person_id, login, passwords.hashed(secret), now(), place="command line"
        )
        # Who guessed too often before asking for this need not wait.
        passwords.was_right(database, account.login)
        console = output()
        console.print(f"{whose.name} signs in as {account.login} with the password", soft_wrap=True)
        console.print(f"    {secret}", soft_wrap=True, highlight=False)
        remark(
            "It is shown this once. Every browser has to sign in anew; it can be changed under My account."
        )

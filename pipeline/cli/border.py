"""The border between program and user: every error becomes an exit code and one line that says what to do."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

import typer
from typer.core import TyperGroup

from pipeline.cli.screen import complain

WORK_FAILED = 1
CALL_WRONG = 2
STOPPED = 130


class CallError(Exception):
    """The command was called wrongly; the message names the option, file or field, and what is right."""


class WorkError(Exception):
    """The command was called rightly and its work failed; the message says why, and what to do."""


class BorderGroup(TyperGroup):
    """The command group that lets no traceback out.

    It sits here and not around `main()`, so that whoever runs the commands, tests too, meets the same border.
    """

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        windows_expand_args: bool = True,
        **extra: Any,
    ) -> NoReturn:
        """Run a command and end the process with its exit code."""
        try:
            code = super().main(args, prog_name, complete_var, False, windows_expand_args, **extra)
        except typer.Abort:
            code = STOPPED
        except typer.TyperException as error:
            complain(_usage_line(error))
            sys.exit(getattr(error, "exit_code", CALL_WRONG))
        except Exception as error:  # noqa: BLE001 - the one place where any error must become a line
            sys.exit(_report(error))
        if code == STOPPED:
            complain("Stopped.")
        sys.exit(code if isinstance(code, int) else 0)


class UsualCommandGroup(TyperGroup):
    """A group whose first command runs when none is named, with all that was given."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Put the name of the first command in front of arguments that name none."""
        if not args or (args[0] not in self.commands and args[0] not in ctx.help_option_names):
            args = [next(iter(self.commands)), *args]
        return super().parse_args(ctx, args)


def _usage_line(error: typer.TyperException) -> str:
    """Say what is wrong with a call, and where the right call is described."""
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "rostral"
    # Empty where a group was called bare: its help went to standard output.
    message = " ".join(error.format_message().split()) or "A command is missing"
    return f"{message.rstrip('.')}. See: {command} --help"


def _report(error: Exception) -> int:
    """Write one line about an error and give the exit code for it."""
    from pipeline.settings import DEBUG_VARIABLE, SettingsError  # noqa: PLC0415 - late: see _known_errors

    if isinstance(error, CallError | SettingsError):
        complain(str(error))
        return CALL_WRONG
    if isinstance(error, _wrong_entries()):
        complain(str(error))
        return CALL_WRONG
    if isinstance(error, _known_errors()):
        complain(str(error))
        return WORK_FAILED
    if os.environ.get(DEBUG_VARIABLE, "") not in ("", "0"):
        raise error
    complain(
        f"Internal error ({type(error).__name__}: {_first_line(error)}). This is a fault of the program:"
        f" please report it. Run it with {DEBUG_VARIABLE}=1 for details."
    )
    return WORK_FAILED


def _known_errors() -> tuple[type[Exception], ...]:
    """Give the error types whose messages are written for users."""
    # Late, because these imports take seconds; where one of these errors was raised they are done already.
    from lexicon import LexiconError  # noqa: PLC0415
    from models import ModelError  # noqa: PLC0415
    from pipeline.capture import CaptureError  # noqa: PLC0415
    from pipeline.evaluation import GoldError  # noqa: PLC0415
    from pipeline.filing.errors import FilingError  # noqa: PLC0415
    from pipeline.jobs.model import JobsError  # noqa: PLC0415
    from pipeline.review import ReviewError  # noqa: PLC0415
    from pipeline.speech import SpeechError  # noqa: PLC0415
    from pipeline.store import StoreError  # noqa: PLC0415

    return (
        WorkError,
        CaptureError,
        ModelError,
        SpeechError,
        LexiconError,
        GoldError,
        FilingError,
        ReviewError,
        StoreError,
        JobsError,
    )


def _wrong_entries() -> tuple[type[Exception], ...]:
    """Give the error types that tell of a value that was given and cannot be."""
    from pipeline.store import EntryError  # noqa: PLC0415

    return (EntryError,)


def _first_line(error: Exception) -> str:
    return (str(error).strip().splitlines() or ["no message"])[0]

"""The command `stanch`: its commands, and how every fault becomes one message and one code."""

from __future__ import annotations

import os
import sys
from typing import Final

import typer

from pipeline.cli import check as check_command
from pipeline.cli import compare as compare_command
from pipeline.cli import rules as rules_command
from pipeline.cli import run as run_command
from pipeline.cli import serve as serve_command
from pipeline.cli import template as template_command
from pipeline.cli import trace as trace_command

OUR_FAULT: Final = 3
BAD_CALL: Final = 4
INTERRUPTED: Final = 130

app = typer.Typer(
    name="stanch",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
    help=(
        "From duct surveys and flood levels to a sealing programme: which duct ends the design "
        "flood can reach, the seal of each, which sites come first, what to buy for each region."
    ),
)
app.command("run")(run_command.run)
app.command("check")(check_command.check)
app.command("compare")(compare_command.compare)
app.command("rules")(rules_command.rules)
app.command("template")(template_command.template)
app.command("trace")(trace_command.trace)
app.command("serve")(serve_command.serve)


def main() -> None:
    """Run the command line and leave with the contract's exit code."""
    sys.exit(_guarded())


def _guarded() -> int:
    from pipeline.core.errors import ContractBreach, UsageError

    try:
        code = app(standalone_mode=False)
    except (KeyboardInterrupt, typer.Abort):
        _tell("Interrupted. Nothing was written in place of an earlier run.")
        return INTERRUPTED
    except UsageError as fault:
        _tell(fault.what, fault.why, fault.mend)
        return BAD_CALL
    except ContractBreach as fault:
        _tell("stanch has made a fault of its own.", str(fault), "Please report this line.")
        return OUR_FAULT
    except Exception as fault:  # noqa: BLE001 - the last guard: no traceback reaches a user
        return _unforeseen(fault)
    return int(code or 0)


def _unforeseen(fault: Exception) -> int:
    show = getattr(fault, "format_message", None)
    if show is not None:  # the command line was called with something it does not know
        _tell(str(show()), "", "stanch --help lists commands and options.")
        return BAD_CALL
    if os.environ.get("STANCH_DEBUG"):
        raise fault
    _tell(
        "stanch has made a fault of its own.",
        f"{type(fault).__name__}: {fault}",
        "Please report this line; STANCH_DEBUG=1 shows where it happened.",
    )
    return OUR_FAULT


def _tell(*parts: str) -> None:
    print("\n".join(part for part in parts if part), file=sys.stderr)


if __name__ == "__main__":
    main()

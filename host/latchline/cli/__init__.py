"""The command line: parse, call, print. Each command lives in its own module, loaded when used."""

from __future__ import annotations

import contextlib
import importlib
import os
import sys
from typing import Any, NoReturn

import click

from latchline import __version__
from latchline.errors import LatchlineError, file_trouble
from latchline.mend import Tongue

# command → module under latchline.cli, one line of help. Kept as a table so that
# `latchline --help` need not import the commands, numpy and Pillow among them.
COMMANDS = {
    "desk": ("desk", "Draw, see, check, print and knit in a browser."),
    "check": ("check", "Say whether a chart or piece can be knitted."),
    "compile": ("compile", "Turn a chart or piece into the needles of every pass."),
    "preview": ("preview", "Draw the fabric, or the working chart, before knitting."),
    "size": ("size", "Work out needles, rows and rates from a measured swatch."),
    "sheet": ("sheet", "Print how to set the machine up for a piece."),
    "dry-run": ("dry_run", "Knit on the simulator and compare every needle with the plan."),
    "knit": ("knit", "Knit on a board, or on the simulated one."),
    "resume": ("resume", "Go on with a piece that was interrupted."),
    "timing": ("timing", "Show how the knitting went, pass by pass."),
    "doctor": ("doctor", "Find out what is wrong with the board, the sensors or the coils."),
    "measure": ("measure", "Work out an unknown machine's coils from a meter's and the board's readings."),
    "budget": ("budget", "Work out coils, drivers, supply and fuse before buying parts."),
    "ports": ("ports", "List the serial ports."),
    "profiles": ("profiles", "List the machine profiles, or show one."),
    "examples": ("examples", "Copy the example piece files and charts into a folder."),
}


IN_FILE = "latchline.in_file"  # whether the piece of this call is in a piece file, where options are keys


class _Commands(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        module = importlib.import_module(f"latchline.cli.{COMMANDS[name][0]}")
        command: click.Command = module.command
        return command

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except LatchlineError as error:
            complain(error)
            ctx.exit(error.exit_status)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, "--version", message="latchline %(version)s")
def latchline() -> None:
    """From a chart of your own to the needles of a domestic latch-needle bed.

    \b
    Try it without a machine:
      latchline examples my-pieces
      latchline dry-run my-pieces/harbour-blanket.toml
    """


def print_json(value: Any) -> None:
    """A result for machines, on standard output."""
    import json  # `latchline --help` is quicker without

    click.echo(json.dumps(value, indent=2, ensure_ascii=False))


def chatter(text: str) -> None:
    """A remark for people, on standard error, so that results can be piped."""
    click.echo(text, err=True)


def caution(text: str) -> None:
    """A caution, on standard error."""
    chatter(f"! {text}")


def tongue() -> Tongue:
    """How this call says options and tasks: as they are typed, but those of a piece file as its keys."""
    from latchline.cli.words import Typed

    context = click.get_current_context(silent=True)
    return Typed(in_file=context is not None and context.meta.get(IN_FILE, False))


def complain(error: LatchlineError) -> None:
    chatter(f"latchline: {error.sentence(tongue())}")


def _give_up(error: LatchlineError) -> NoReturn:
    """End after what no command could foresee; what is left of the output goes nowhere, or Python would complain."""
    complain(error)
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(error.exit_status)


def _wrong_use(error: click.ClickException) -> str:
    """Click's complaint as one sentence that says where to look."""
    command = error.ctx.command_path if isinstance(error, click.UsageError) and error.ctx else "latchline"
    return f"latchline: {error.format_message().rstrip('.')}; see `{command} --help`."


def main(arguments: list[str] | None = None) -> None:
    """Run the command line; an error of ours is one sentence and its own exit status."""
    try:
        status = latchline.main(arguments, prog_name="latchline", standalone_mode=False)
        sys.stdout.flush()  # a full disk is found out here, not while Python ends
    except LatchlineError as error:
        complain(error)
        sys.exit(error.exit_status)
    except (click.exceptions.Abort, KeyboardInterrupt):
        chatter("latchline: interrupted.")
        # Python remembers an interrupt that met code run from a string (each dataclass is made so) and would end by
        # the signal, whatever the status; running any such code makes it forget.
        exec("")
        sys.exit(130)
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        sys.exit(error.exit_code)
    except click.ClickException as error:
        chatter(_wrong_use(error))
        sys.exit(error.exit_code)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except UnicodeEncodeError as error:
        what = f"standard output takes {error.encoding} only, which has no {error.object[error.start]!a}"
        _give_up(LatchlineError(what, hint="set PYTHONUTF8=1"))
    except OSError as error:
        _give_up(file_trouble(error.filename or "standard output", error))
    except MemoryError:
        _give_up(LatchlineError("there is not enough memory for this", hint="use a smaller chart or fewer rows"))
    sys.exit(status if isinstance(status, int) else 0)


if __name__ == "__main__":
    main()

"""The command line: a door without logic of its own.

Start-up is lazy: the group knows each command's one-line help and imports the command when it is asked for, so that
`--help` loads click and little else. Exit codes stand in `EPILOG`, which `--help` prints.
"""

import os
import sys
from typing import Final

import click

from benchtest.cli.lazy import LazyGroup

COMMANDS: Final = {
    "check": ("benchtest.cli.check:check", "Check a profile, and whether a bench can do what it asks."),
    "profile": ("benchtest.cli.profile:profile", "Begin a profile, keep it tidy, compare two versions, approve it."),
    "run": ("benchtest.cli.run:run", "Put a board through its profile and write the certificate."),
    "depot": ("benchtest.cli.depot:depot", "Follow boards through the depot, and ask what it has learned."),
    "report": ("benchtest.cli.report:report", "Write the depot's figures of a period as one page."),
    "diagnose": ("benchtest.cli.diagnose:diagnose_run", "Say what is probably wrong with a board that failed."),
    "hookup": ("benchtest.cli.hookup:hookup", "Draw what is plugged in where, to hang at the bench."),
    "rig": ("benchtest.cli.rig:rig", "Look after the bench: what is wired where, whether it is in order."),
    "certificate": ("benchtest.cli.certificate:certificate", "Check, withdraw or issue anew a sealed certificate."),
    "station": ("benchtest.cli.station:station", "This station's key, and the stations that are trusted here."),
    "show": ("benchtest.cli.show:show", "Show a finished run, and check that nothing in it was changed."),
    "records": ("benchtest.cli.records:records", "Ask the records of all runs, and look after them."),
    "rejudge": ("benchtest.cli.rejudge:rejudge", "Judge finished runs anew under another profile, without a board."),
    "measure": ("benchtest.cli.measure:measure", "Measure a captured file by the code of the bench."),
    "simulate": ("benchtest.cli.simulate:simulate", "Serve a virtual board behind the adapter protocol, in real time."),
    "adapter": ("benchtest.cli.adapter:adapter", "Put the adapters of a bench through what the bench relies on."),
    "doctor": ("benchtest.cli.doctor:doctor", "Look whether this computer is fit for a bench, and what mends it."),
    "faults": ("benchtest.cli.faults:faults", "List the faults that a simulated board can have."),
    "coverage": ("benchtest.cli.coverage:coverage", "Study which faults a profile catches, and which it misses."),
    "study": ("benchtest.cli.study:study", "Study many readings: limits, repeatability, capability, drift, agreement."),
    "trace": ("benchtest.cli.trace:trace_profile", "Print which requirements a profile's checks prove, and the gaps."),
    "schema": ("benchtest.cli.schema:schema", "Print the JSON Schema of a document, for editors."),
}

EPILOG: Final = (
    "Exit codes: 0 pass, 1 fail, 2 wrong usage, 3 inconclusive, 4 document or plan problem (nothing was energised), "
    "5 bench fault (the board is not judged), 6 aborted."
)


def _version(ctx: click.Context, _parameter: click.Parameter, wanted: bool) -> None:
    if wanted:
        from benchtest import __version__

        click.echo(f"benchtest {__version__}")
        ctx.exit()


@click.group(cls=LazyGroup, commands=COMMANDS, epilog=EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--version", is_flag=True, is_eager=True, expose_value=False, callback=_version, help="Show the version.")
def group() -> None:
    """Bench test of relay boards: is this board good, and if not, where to look.

    Extra-low voltage only. A pass on the bench is not a release to run the machine.
    """


def entry(arguments: list[str]) -> int:
    """Run one command and return its exit code; everything that goes wrong becomes a sentence on standard error."""
    try:
        code = group.main(args=arguments, prog_name="benchtest", standalone_mode=False)
    except click.exceptions.Exit as leaving:
        return leaving.exit_code
    except click.ClickException as problem:
        problem.show()
        return problem.exit_code
    except (KeyboardInterrupt, click.Abort):
        click.echo("stopped by the operator", err=True)
        return 6
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # the reader has gone; nothing more can be said
        return 0
    except Exception as problem:  # the last line of defence: a sentence, and the details in a file
        return _unexpected(problem)
    return code if isinstance(code, int) else 0


def _unexpected(problem: Exception) -> int:
    from benchtest.errors import BenchtestError, DocumentError, PlanError

    if isinstance(problem, BenchtestError):
        click.echo(str(problem), err=True)
        if isinstance(problem, (DocumentError, PlanError)):
            count = len(problem.problems if isinstance(problem, DocumentError) else problem.reasons)
            click.echo(f"{count} problem{'s' if count != 1 else ''}. Nothing was energised.", err=True)
        elif problem.exit_code == 5:
            click.echo("The board is not judged.", err=True)
        return problem.exit_code
    if isinstance(problem, OSError):
        click.echo(f"{problem.filename or 'the system'}: {problem.strerror or problem}", err=True)
        return 5
    return _defect(problem)


def _defect(problem: Exception) -> int:
    """Keep the details of a defect of ours in a file and say where."""
    import tempfile
    import traceback

    with tempfile.NamedTemporaryFile("w", prefix="benchtest-", suffix=".txt", delete=False, encoding="utf-8") as file:
        file.write("".join(traceback.format_exception(problem)))
    click.echo(f"a defect in benchtest, not in the board: {problem!r}\nplease report it with {file.name}", err=True)
    return 5

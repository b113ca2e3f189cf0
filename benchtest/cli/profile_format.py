"""`benchtest profile format`: one style for all profiles of a repository."""

import difflib
from pathlib import Path

import click

from benchtest.cli.words import say, tell
from benchtest.errors import DocumentError, Problem


@click.command()
@click.argument("files", type=click.Path(path_type=Path), nargs=-1, required=True, metavar="FILE...")
@click.option("--check", is_flag=True, help="Write nothing; exit code 1 when a file is not in the usual style.")
@click.option("--diff", "show", is_flag=True, help="Write nothing; show the lines that would be others.")
def format_profiles(files: tuple[Path, ...], check: bool, show: bool) -> int:
    """Write each profile FILE in the usual style: indent, order of keys, spelling of quantities, quotes.

    Comments stay with what they are about, and the profile says the same as before. Only a profile without problems is
    formatted. A signature beside the file is of its bytes: a file that was written anew must be signed again.

    Exit code 0; 1 with --check when a file would be written anew; 4 when a file has problems, the others are done.
    """
    problems, untidy = list[Problem](), 0
    for file in files:
        try:
            before, after = _read(file)
        except DocumentError as error:
            problems += error.problems
            continue
        if before == after:
            say(f"{file}: as it should be")
            continue
        untidy += 1
        if show:
            _show(file, before, after)
        elif check:
            say(f"{file}: not in the usual style (run: benchtest profile format {file})")
        else:
            _write(file, after)
            say(f"{file}: written anew{_signed(file)}")
    if problems:
        raise DocumentError(problems)
    return 1 if check and untidy else 0


def _read(file: Path) -> tuple[str, str]:
    from benchtest.documents import read_bytes
    from benchtest.documents.tidy import tidy
    from benchtest.profile import Profile, load_profile

    load_profile(file)
    before = read_bytes(file).decode("utf-8")
    return before, tidy(before.removeprefix("\ufeff"), Profile)


def _signed(file: Path) -> str:
    """Return that a signature beside a file that was written anew holds no more."""
    from benchtest.approval import approval_file

    approval = approval_file(file)
    return f"; {approval.name} was for what it was before, have it signed again" if approval.exists() else ""


def _show(file: Path, before: str, after: str) -> None:
    lines = difflib.unified_diff(before.splitlines(), after.splitlines(), str(file), str(file), lineterm="", n=1)
    for line in lines:
        tell(line)


def _write(file: Path, text: str) -> None:
    """Replace a file by a whole new one, or not at all; a link stays a link, and the file's mode stays."""
    target = file.resolve()
    draft = target.with_name(target.name + ".part")
    draft.write_text(text, encoding="utf-8", newline="\n")
    draft.chmod(target.stat().st_mode & 0o7777)
    draft.replace(target)

"""A file that a command will write: that it can be is looked at before anything is worked out for it."""

import os
from pathlib import Path

import click


class Written(click.Path):
    """The path of a file to be written; a folder that is not there is wrong usage at once, not after the work."""

    def __init__(self) -> None:
        super().__init__(path_type=Path, dir_okay=False)

    def convert(
        self, value: str | os.PathLike[str], param: click.Parameter | None, ctx: click.Context | None
    ) -> str | bytes | os.PathLike[str]:
        path = Path(os.fsdecode(super().convert(value, param, ctx)))
        if not path.parent.is_dir():
            self.fail(f"{path}: there is no folder {path.parent}", param, ctx)
        return path

"""Who wants to open a port, and may they."""

import os
from dataclasses import dataclass
from typing import Self

try:
    import grp
except ImportError:  # not POSIX: no groups there
    GROUPS = False
else:
    GROUPS = True


@dataclass(frozen=True, kw_only=True, slots=True)
class Person:
    """A user of the system, by numbers."""

    user: int
    groups: frozenset[int]

    @classmethod
    def here(cls) -> Self:
        """Return whoever runs this program; nobody where the system has no such numbers."""
        if not GROUPS:
            return cls(user=-1, groups=frozenset())
        return cls(user=os.geteuid(), groups=frozenset({os.getegid(), *os.getgroups()}))

    def may_open(self, owned: os.stat_result) -> bool:
        """Return whether the mode of a device file lets this user read and write it."""
        if self.user == 0:
            return True
        shift = 6 if owned.st_uid == self.user else 3 if owned.st_gid in self.groups else 0
        return (owned.st_mode >> shift) & 0o6 == 0o6


def group_name(number: int) -> str:
    """Return a group's name; its number where it has none."""
    try:
        return grp.getgrgid(number).gr_name if GROUPS else str(number)
    except KeyError:
        return str(number)

"""The user the embedded servers run as: as root one that exists, where the wheel would add one to the system."""

import os
import pwd
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, kw_only=True)
class Account:
    """A user and its group, by number."""

    uid: int
    gid: int

    @property
    def is_other_user(self) -> bool:
        """Tell whether servers run as somebody else than this process."""
        return self.uid != os.geteuid()


def server_account() -> Account:
    """Return the caller's own account, or an unprivileged one where the caller is root."""
    if os.geteuid() != 0:
        return Account(uid=os.geteuid(), gid=os.getegid())
    # PostgreSQL refuses root, and initdb refuses a user number that has no entry in the user list: a free number
    # will not do.
    nobody = pwd.getpwnam("nobody")
    return Account(uid=nobody.pw_uid, gid=nobody.pw_gid)


def give(tree: Path, *, owner: Account) -> None:
    """Make a file, or a folder with all in it, the owner's."""
    for path in (tree, *tree.rglob("*")):
        os.chown(path, owner.uid, owner.gid, follow_symlinks=False)


def make_folder(path: Path, *, owner: Account) -> None:
    """Make a folder that only its owner, and root, can enter."""
    path.mkdir(mode=0o700, exist_ok=True)
    os.chown(path, owner.uid, owner.gid)

"""Run our commands as a container does: as another user, who may read the code and has no capability."""

import os
import shutil
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.installed import build_wheel, install_into_folder
from tests.outside_tools import require_tool
from worker.demo.embedded.account import Account, give, server_account


@dataclass(frozen=True, kw_only=True)
class OtherUser:
    """An interpreter and code that an account can read, and the words before each command."""

    account: Account
    python: str
    path: str

    def popen(self, *words: str, environment: Mapping[str, str], **how: Any) -> "subprocess.Popen[bytes]":
        """Start one of our commands with an environment and nothing of our own."""
        # A copied interpreter looks for its library where it was built to lie.
        libraries = {"LD_LIBRARY_PATH": str(Path(self.python).parents[1] / "lib")}
        whole = {"PATH": os.defpath, "PYTHONPATH": self.path, "PYTHONUNBUFFERED": "1", **libraries, **environment}
        command = [*self._without_rights(), self.python, "-B", "-m", "worker.commands.main", *words]
        return subprocess.Popen(command, env=whole, cwd="/", stdin=subprocess.DEVNULL, start_new_session=True, **how)

    def run(self, *words: str, environment: Mapping[str, str]) -> str:
        """Run one of our commands to its end and return what it printed; it has to end well."""
        process = self.popen(*words, environment=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
        said = process.communicate(timeout=120)[0].decode()
        assert process.returncode == 0, said
        return said

    def _without_rights(self) -> list[str]:
        setpriv = [require_tool("setpriv"), "--no-new-privs"]
        if not self.account.is_other_user:
            return setpriv
        user = [f"--reuid={self.account.uid}", f"--regid={self.account.gid}", "--clear-groups"]
        return [*setpriv, *user, "--inh-caps=-all", "--bounding-set=-all"]


def make_other_user(folder: Path) -> OtherUser:
    """Install the code as an image does, and find, or copy, what else an unprivileged account needs to run it."""
    account = server_account()
    packages = Path(next(one for one in sys.path if one.endswith("site-packages")))
    code = folder / "app"
    install_into_folder(build_wheel(folder / "wheel"), code)
    give(code, owner=account)
    return OtherUser(
        account=account,
        python=str(_interpreter_for(account, folder / "python")),
        path=os.pathsep.join(map(str, (code, _packages_for(account, packages, folder / "packages")))),
    )


def _packages_for(account: Account, packages: Path, copy: Path) -> Path:
    if _is_open_to(account, packages):
        return packages
    shutil.copytree(packages, copy)
    give(copy, owner=account)
    return copy


def _interpreter_for(account: Account, copy: Path) -> Path:
    # Not the virtual environment's: that one is a link into the real one's folder.
    base, version = Path(sys.base_prefix), f"python{sys.version_info.major}.{sys.version_info.minor}"
    if not _is_open_to(account, base / "bin" / version):
        (copy / "bin").mkdir(parents=True)
        shutil.copy(base / "bin" / version, copy / "bin")
        for library in (base / "lib").glob("libpython*.so*"):
            (copy / "lib").mkdir(exist_ok=True)
            shutil.copy(library, copy / "lib")
        left_out = shutil.ignore_patterns("test", "idlelib", "tkinter", "site-packages", "config-*")
        shutil.copytree(base / "lib" / version, copy / "lib" / version, ignore=left_out)
        give(copy, owner=account)
        base = copy
    return base / "bin" / version


def _is_open_to(account: Account, path: Path) -> bool:
    if not account.is_other_user:
        return True
    real = path.resolve()
    return bool(real.stat().st_mode & 0o004) and all(folder.stat().st_mode & 0o001 for folder in real.parents)

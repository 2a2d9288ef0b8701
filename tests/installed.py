"""The project as others have it: a wheel, made of what an image is made of, installed where no checkout is."""

import os
import shutil
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

from tests.compose import ROOT, let_into_image

_PIP = (sys.executable, "-m", "pip", "--disable-pip-version-check")


def build_wheel(folder: Path) -> Path:
    """Build a wheel as the image's recipe does, in a folder of its own: no build leaves anything in the checkout."""
    source, let_in = folder / "source", let_into_image()
    for name in let_in.names:
        copied, left_out = ROOT / name, shutil.ignore_patterns("__pycache__")
        if copied.is_file():
            source.mkdir(parents=True, exist_ok=True)
            shutil.copy(copied, source)
        else:
            shutil.copytree(copied, source / name, ignore=left_out)
    for name in let_in.left_out:
        shutil.rmtree(source / name)
    run(*_PIP, "wheel", "--no-index", "--no-deps", "--no-build-isolation", "--wheel-dir", str(folder), str(source))
    [wheel] = folder.glob("*.whl")
    shutil.rmtree(source)
    return wheel


def install_into_folder(wheel: Path, folder: Path) -> None:
    """Install a wheel into a folder that a path names."""
    run(*_PIP, "install", "--no-index", "--no-deps", "--target", str(folder), str(wheel))


def install_into_environment(wheel: Path, folder: Path) -> Path:
    """Make a virtual environment with the wheel in it; return the folder of its programs.

    What the wheel requires is read from where the tests have it, so that no network is needed. Only the folder is
    named, and none of the `.pth` files in it is read: the checkout that the tests run from stays out.
    """
    venv.create(folder, symlinks=True)
    programs = folder / "bin"
    packages = Path(sysconfig.get_path("purelib", "venv", {"base": str(folder), "platbase": str(folder)}))
    (packages / "required.pth").write_text(f"{sysconfig.get_path('purelib')}\n{sysconfig.get_path('platlib')}\n")
    run(*_PIP, "--python", str(programs / "python"), "install", "--no-index", "--no-deps", str(wheel))
    return programs


def run(*words: str, **environment: str) -> str:
    """Run a program outside the checkout, with nothing of ours in its environment; return what it printed."""
    bare = {"PATH": os.defpath, "HOME": os.environ.get("HOME", "/"), "COLUMNS": "80", **environment}
    done = subprocess.run(words, cwd="/", env=bare, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
    assert done.returncode == 0, done.stdout.decode()
    return done.stdout.decode()

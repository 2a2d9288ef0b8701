"""Run the stack and play the demo's story on it, or leave it running for who wants to try."""

import tempfile
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import httpx
import orjson
from rich.console import Console

from service.vocabulary.words import TokenKind
from worker.demo import DemoNotPossibleError
from worker.demo.narrator import Narrator
from worker.demo.own_key import OwnKey
from worker.demo.parties import Parties, StoryBrokenError, agree_on_criteria, expect, open_project
from worker.demo.stack import Stack, run_stack
from worker.demo.story import Story


class Leaving(NamedTuple):
    """What a played story leaves for whoever verifies it: the packages, whom to trust in which role, who made them."""

    packages: Sequence[Path]
    service_root: Path
    engineer: Path
    server: str


# How the packages are verified: as the command line does it, which this folder knows nothing of.
Verify = Callable[[Leaving], bool]


def run_demo(console: Console, output: Path, *, verify: Verify) -> bool:
    """Play the story; tell whether all of it held."""
    console.print("starting PostgreSQL, Redis, API, relay and worker", style="dim")
    try:
        with run_stack(say=_saying(console)) as stack:
            left = _play(console, stack, output)
            return left is not None and _verify(console, left, verify)
    except DemoNotPossibleError as error:
        return _refuse(console, error)


def serve_demo(console: Console, output: Path, *, port: int) -> bool:
    """Keep the stack running with the demo route described and nothing recorded; tell whether it could start."""
    try:
        with run_stack(port=port, say=_saying(console)) as stack, _parties(stack) as parties:
            agree_on_criteria(parties)
            _stay(console, stack, _write_names(output, stack, parties))
    except DemoNotPossibleError as error:
        return _refuse(console, error)
    return True


def _play(console: Console, stack: Stack, output: Path) -> Leaving | None:
    own_key = OwnKey(trust=[stack.authority.root_file.read_bytes()])
    try:
        with _parties(stack) as parties, tempfile.TemporaryDirectory() as queue:
            story = Story(parties, Narrator(console), Path(queue), own_key)
            story.play()
            return _leave(parties, story, stack, output, own_key)
    except StoryBrokenError as error:
        console.print(f"\nthe story does not hold: {error}", style="bold red", markup=False)
        _print_logs(console, stack)
        return None


def _refuse(console: Console, error: DemoNotPossibleError) -> bool:
    console.print(str(error), style="bold red", highlight=False, markup=False)
    return False


def _stay(console: Console, stack: Stack, file: Path) -> None:
    try:
        console.print(file.read_text().rstrip(), highlight=False, markup=False, soft_wrap=True)
        console.print(f"\n{stack.base_url}/docs describes the API. In another terminal:", highlight=False)
        console.print(f"  . {file}", highlight=False)
        console.print("Ctrl-C ends it; nothing is kept.", style="dim")
        threading.Event().wait()
    except KeyboardInterrupt:
        console.print("ending", style="dim")
    finally:
        file.unlink(missing_ok=True)


def _saying(console: Console) -> Callable[[str], None]:
    return lambda sentence: console.print(sentence, style="yellow", highlight=False, markup=False)


def _write_names(output: Path, stack: Stack, parties: Parties) -> Path:
    """Write what a shell needs to talk to the stack; tokens are in it, so only its owner may read it."""
    output.mkdir(parents=True, exist_ok=True)
    file = output / "serve.env"
    names = {"URL": stack.base_url, "PROJECT": parties.project_id, "ROUTE": parties.route_id}
    names |= {kind.value.upper(): token for kind, token in parties.tokens.items()}
    file.touch(mode=0o600)
    file.write_text("".join(f"export {name}={value}\n" for name, value in names.items()))
    return file


@contextmanager
def _parties(stack: Stack) -> Iterator[Parties]:
    with httpx.Client(base_url=stack.base_url, timeout=30) as http:
        yield open_project(http, stack.administrator)


def _leave(parties: Parties, story: Story, stack: Stack, output: Path, own_key: OwnKey) -> Leaving:
    """Leave the packages, the certificates to verify them with, the status and the notices."""
    output.mkdir(parents=True, exist_ok=True)
    left = Leaving(
        packages=[output / _file_name(package) for package in story.packages],
        service_root=output / "demonstration_root.pem",
        engineer=output / "demonstration_engineer.pem",
        server=stack.base_url,
    )
    for file, package in zip(left.packages, story.packages, strict=True):
        pdf = parties.call(TokenKind.ENGINEER, "GET", f"/v1/packages/{package['id']}/pdf")
        expect(pdf.is_success, "the package can be fetched")
        file.write_bytes(pdf.content)
    left.service_root.write_bytes(stack.authority.root_file.read_bytes())
    left.engineer.write_bytes(own_key.pem)
    _write_json(output / "status.json", parties.status())
    _write_json(output / "notices.json", story.notices)
    return left


def _verify(console: Console, left: Leaving, verify: Verify) -> bool:
    console.print("\nThe packages, as anyone can verify them", style="bold")
    are_good = verify(left)
    output = left.service_root.parent
    console.print(
        f"\n{output}/ holds the packages, the certificates to trust, status.json and notices.json.\n"
        f"route-acceptance verify {output}/package_….pdf --trust {left.service_root} --trust-engineer {left.engineer}",
        style="dim",
        highlight=False,
    )
    return are_good


def _file_name(package: Any) -> str:
    return f"package_{package['number'].replace('/', '_')}.pdf"


def _write_json(file: Path, document: Any) -> None:
    file.write_bytes(orjson.dumps(document, option=orjson.OPT_INDENT_2) + b"\n")


def _print_logs(console: Console, stack: Stack) -> None:
    for log in sorted(stack.logs.glob("*.log")):
        lines = log.read_text(errors="replace").splitlines()[-10:]
        console.print("\n".join([f"[{log.name}]", *lines]), markup=False, highlight=False)

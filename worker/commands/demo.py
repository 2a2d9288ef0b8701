"""Run the stack and play the demo's story on it, or leave it running for who wants to try."""

import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import orjson
from rich.console import Console

from service.vocabulary.words import TokenKind
from worker.commands.own_key import OwnKey
from worker.commands.parties import Parties, StoryBrokenError, agree_on_criteria, expect, open_project
from worker.commands.stack import Stack, run_stack
from worker.commands.story import SCENES, Story, tell_story
from worker.commands.teller import Teller
from worker.commands.verify import TrustFiles, check_file, print_report


def run_demo(console: Console, output: Path) -> bool:
    """Play the story; tell whether all of it held."""
    console.print("starting PostgreSQL, Redis, API, relay and worker", style="dim")
    with run_stack(say=_saying(console)) as stack:
        teller = Teller(console, scenes=SCENES)
        own_key = OwnKey(trust=[stack.authority.root_file.read_bytes()])
        try:
            with _parties(stack) as parties, tempfile.TemporaryDirectory() as queue, teller.running():
                story = tell_story(parties, teller, Path(queue), own_key)
                _leave(parties, story, stack, output, own_key)
        except StoryBrokenError as error:
            console.print(f"\nthe story does not hold: {error}", style="bold red", markup=False)
            _print_logs(console, stack)
            return False
        return _verify(console, stack, output)


def serve_demo(console: Console, output: Path, *, port: int) -> None:
    """Keep the stack running with the demo route described and nothing recorded."""
    with run_stack(port=port, say=_saying(console)) as stack, _parties(stack) as parties:
        agree_on_criteria(parties)
        file = _write_names(output, stack, parties)
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


def _leave(parties: Parties, story: Story, stack: Stack, output: Path, own_key: OwnKey) -> None:
    """Leave the packages, the certificates to verify them with, the status and the notices."""
    output.mkdir(parents=True, exist_ok=True)
    for package in story.packages:
        pdf = parties.call(TokenKind.ENGINEER, "GET", f"/v1/packages/{package['id']}/pdf")
        expect(pdf.is_success, "the package can be fetched")
        (output / _file_name(package)).write_bytes(pdf.content)
    (output / "demonstration_root.pem").write_bytes(stack.authority.root_file.read_bytes())
    (output / "demonstration_engineer.pem").write_bytes(own_key.pem)
    _write_json(output / "status.json", parties.status())
    _write_json(output / "notices.json", story.notices)


def _verify(console: Console, stack: Stack, output: Path) -> bool:
    console.print("\nThe packages, as anyone can verify them", style="bold")
    are_whole = True
    engineer = output / "demonstration_engineer.pem"
    trust = TrustFiles(service=[output / "demonstration_root.pem"], engineer=[engineer])
    for file in sorted(output.glob("package_*.pdf")):
        checked = check_file(file, trust=trust, server=stack.base_url)
        are_whole &= checked.report.is_good
        print_report(console, file, checked)
    console.print(
        f"\n{output}/ holds the packages, the certificates to trust, status.json and notices.json.\n"
        f"route-acceptance verify {output}/package_….pdf --trust {output}/demonstration_root.pem "
        f"--trust-engineer {engineer}",
        style="dim",
        highlight=False,
    )
    return are_whole


def _file_name(package: Any) -> str:
    return f"package_{package['number'].replace('/', '_')}.pdf"


def _write_json(file: Path, document: Any) -> None:
    file.write_bytes(orjson.dumps(document, option=orjson.OPT_INDENT_2) + b"\n")


def _print_logs(console: Console, stack: Stack) -> None:
    for log in sorted(stack.logs.glob("*.log")):
        lines = log.read_text(errors="replace").splitlines()[-10:]
        console.print("\n".join([f"[{log.name}]", *lines]), markup=False, highlight=False)

"""What ends is started again, without spinning; what says nothing any more is ended; nothing is left behind."""

import os
import signal
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest

from worker.demo import supervisor
from worker.demo.supervisor import Plan, Supervisor

# Processes that pause, fall silent and are waited for by the clock.
pytestmark = pytest.mark.slow
# To `sh` the name is $0, the heartbeat file $3.
BEAT = 'while :; do touch "$3"; sleep 0.05; done'


@contextmanager
def looked_after(
    folder: Path, *scripts: str, silent_after_s: float = 60.0, begun_within_s: float = 60.0
) -> Iterator[tuple[Supervisor, list[str]]]:
    """Run shell scripts as parts, and collect what is said of them."""
    said: list[str] = []
    plans = [
        Plan(
            name=f"part{number}",
            program=("sh", "-c", script),
            heartbeat=folder / f"beat{number}",
            silent_after_s=silent_after_s,
            begun_within_s=begun_within_s,
        )
        for number, script in enumerate(scripts)
    ]
    with Supervisor(plans, environment={"PATH": os.environ["PATH"]}, logs=folder, say=said.append) as kept:
        yield kept, said


def comes_true(claim: Callable[[], bool], *, within_s: float = 10.0) -> bool:
    give_up_at = time.monotonic() + within_s
    while not claim() and time.monotonic() < give_up_at:
        time.sleep(0.01)
    return claim()


def lines(file: Path) -> Sequence[str]:
    return file.read_text().splitlines() if file.exists() else []


def is_gone(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except (FileNotFoundError, ProcessLookupError):
        return True


def test_a_part_that_is_killed_comes_back_and_that_is_said_and_logged_once(tmp_path: Path) -> None:
    with looked_after(tmp_path, "exec sleep 60", "exec sleep 60") as (kept, said):
        before = kept.pids
        os.kill(before["part0"], signal.SIGKILL)
        assert comes_true(lambda: kept.pids.get("part0", before["part0"]) != before["part0"])
        assert kept.pids["part1"] == before["part1"]
        assert said == ["part0 has ended (-9), and is started again"]
        [event] = lines(tmp_path / "part0.log")
        assert '"event": "part.ended"' in event and '"code": -9' in event
        assert lines(tmp_path / "part1.log") == []


def test_what_a_killed_part_had_forked_does_not_work_on_beside_the_next(tmp_path: Path) -> None:
    with looked_after(tmp_path, f"sleep 60 & echo $! >> {tmp_path}/children; wait") as (kept, _):
        assert comes_true(lambda: len(lines(tmp_path / "children")) == 1)
        os.kill(kept.pids["part0"], signal.SIGKILL)
        assert comes_true(lambda: len(lines(tmp_path / "children")) == 2)
        first, second = map(int, lines(tmp_path / "children"))
        assert is_gone(first) and not is_gone(second)


def test_a_part_that_ends_at_once_again_and_again_does_not_spin(tmp_path: Path) -> None:
    begun = time.monotonic()
    with looked_after(tmp_path, f"echo x >> {tmp_path}/starts; exit 2") as (_, said):
        time.sleep(2.0)
        starts, lasted_s = len(lines(tmp_path / "starts")), time.monotonic() - begun
    # Pauses of 0.1, 0.2, 0.4, 0.8, 1.6 s: the sixth start is after 3.1 s at the earliest.
    assert 3 <= starts <= (5 if lasted_s < 3.1 else 8)
    assert len(said) <= starts


def test_of_a_part_that_keeps_ending_it_is_not_said_for_ever(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(supervisor, "LONGEST_PAUSE_S", 0.25)
    with looked_after(tmp_path, f"echo x >> {tmp_path}/starts; exit 2") as (_, said):
        assert comes_true(lambda: len(lines(tmp_path / "starts")) >= 8)
        assert said == [
            "part0 has ended (2), and is started again",
            "part0 has ended (2), and is started again every 0.25 s",
        ]


def test_a_part_that_had_settled_is_started_again_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(supervisor, "SETTLED_AFTER_S", 0.1)
    with looked_after(tmp_path, f"echo x >> {tmp_path}/starts; sleep 0.2; exit 1") as (_, said):
        assert comes_true(lambda: len(lines(tmp_path / "starts")) >= 6)
        assert set(said) == {"part0 has ended (1), and is started again"}
        assert all('"again_in_s": 0.1' in line for line in lines(tmp_path / "part0.log"))


def test_a_part_that_falls_silent_is_ended_and_one_that_beats_is_not(tmp_path: Path) -> None:
    silent = 'touch "$3"; exec sleep 60'
    with looked_after(tmp_path, silent, BEAT, silent_after_s=1.0) as (kept, said):
        before = kept.pids
        assert comes_true(lambda: kept.pids.get("part0", before["part0"]) != before["part0"])
        assert kept.pids["part1"] == before["part1"]
        assert said[:2] == [
            "part0 has done nothing for 1 s: it is ended",
            "part0 has ended (-15), and is started again",
        ]


def test_a_silent_part_that_will_not_end_is_killed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(supervisor, "STOP_WITHIN_S", 0.3)
    with looked_after(tmp_path, "trap '' TERM; while :; do sleep 0.05; done", begun_within_s=0.3) as (kept, said):
        before = kept.pids
        assert comes_true(lambda: kept.pids.get("part0", before["part0"]) != before["part0"])
        assert "part0 has ended (-9), and is started again" in said


def test_a_part_that_takes_its_time_to_begin_is_let_begin(tmp_path: Path) -> None:
    with looked_after(tmp_path, f"sleep 1; {BEAT}", silent_after_s=0.6) as (kept, said):
        before = kept.pids
        assert comes_true((tmp_path / "beat0").exists)
        time.sleep(1)
        assert (kept.pids, said) == (before, [])


def test_neither_a_closed_terminal_nor_a_log_that_cannot_be_written_ends_the_watch(tmp_path: Path) -> None:
    def say(_: str) -> None:
        raise BrokenPipeError

    plan = Plan(name="part", program=("sh", "-c", "exec sleep 60"), heartbeat=tmp_path / "beat")
    logs = tmp_path / "logs"
    logs.mkdir()
    with Supervisor([plan], environment={"PATH": os.environ["PATH"]}, logs=logs, say=say) as kept:
        first = kept.pids["part"]
        os.kill(first, signal.SIGKILL)
        assert comes_true(lambda: kept.pids.get("part", first) != first)
        logs.rename(tmp_path / "away")
        second = kept.pids["part"]
        os.kill(second, signal.SIGKILL)
        assert comes_true(lambda: "part" not in kept.pids)
        (tmp_path / "away").rename(logs)
        assert comes_true(lambda: kept.pids.get("part", second) != second)


def test_stopping_leaves_no_process(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(supervisor, "STOP_WITHIN_S", 0.5)
    stubborn = f"trap '' TERM; sleep 60 & echo $! > {tmp_path}/child; wait; sleep 60"
    with looked_after(tmp_path, stubborn, "exec sleep 60") as (kept, _):
        assert comes_true(lambda: len(lines(tmp_path / "child")) == 1)
        pids = [*kept.pids.values(), int(lines(tmp_path / "child")[0])]
    assert len(pids) == 3
    assert comes_true(lambda: all(map(is_gone, pids)))
    assert kept.pids == {}

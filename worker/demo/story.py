"""The demo's story: a route from the first splice to the second notice, each step as its party would take it."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from service.vocabulary.words import TokenKind
from worker.demo.narrator import Narrator
from worker.demo.own_key import OwnKey
from worker.demo.parties import Parties, agree_on_criteria, expect
from worker.demo.scenario import read_scenario

_CONCESSION = {
    "criterion": "splice-1550",
    "fibre": 20,
    "site": "C5",
    "position": 1,
    "reason": "The closure is under a road that is closed only on Sundays.",
}
_CONTRACTOR, _ENGINEER = TokenKind.CONTRACTOR, TokenKind.ENGINEER


class Story:
    """The parties, what they have made so far, and who tells it."""

    def __init__(self, parties: Parties, narrator: Narrator, queue: Path, own_key: OwnKey) -> None:
        self._parties, self._narrator, self._queue, self._own_key = parties, narrator, queue, own_key
        self.packages: list[Any] = []
        self.notices: list[Any] = []

    def play(self) -> None:
        """Play every scene; the first claim that does not hold ends it."""
        self._narrator.play(
            [
                ("Design and criteria are agreed before anything is measured", self._agree),
                ("The crew splices, and posts what the splicer showed before its lid opened", self._splice),
                ("The crew splices the two again, before the lids are shut", self._splice_again),
                ("The closures are sealed; every fibre is tested, both ways, at both wavelengths", self._seal_and_test),
                ("The contractor submits both segments and asks a concession for the one splice", self._submit_both),
                ("The engineer accepts one segment and refuses the other", self._decide_segment_by_segment),
                ("The crew opens C5, relieves fibre 20, seals, and tests every fibre anew", self._repair),
                ("The second submission is accepted", self._submit_again),
                ("Billing reads its notices, each once", self._bill),
            ]
        )

    def _agree(self) -> None:
        version = agree_on_criteria(self._parties)
        design, criteria = read_scenario("route"), read_scenario("criteria")
        closures = sum(site["kind"] == "splice_closure" for site in design["sites"])
        self._narrator.say(
            "contractor", f"describes {design['name']}: {design['fibre_count']} fibres, {closures} closures"
        )
        self._narrator.say("engineer", "agrees to the design: lengths, budgets and money follow from it")
        self._narrator.say("engineer", f"sets {len(criteria['criteria'])} criteria, version {version}")
        self._narrator.say("contractor", "acknowledges them: the route is judged by this version")

    def _splice(self) -> None:
        records = read_scenario("01_splicing")["records"]
        self._send("first", records)
        self._narrator.say("field app", f"{len(records)} records stored")
        again = self._post(records)
        repeated = sum(one["outcome"] == "already_stored" for one in again["results"])
        expect(repeated == len(records), "a repeated batch is stored once")
        self._narrator.say("field app", f"as after a lost answer, all {repeated} again: already stored")
        conflict = self._post(read_scenario("conflict")["records"])
        expect([one["outcome"] for one in conflict["results"]] == ["conflict"], "other content is a conflict")
        self._narrator.say(
            "field app", f"one id with other content: {conflict['results'][0]['problem']['title'].lower()}"
        )
        work = self._parties.worklist("re_splice")
        expect([_at_one_fibre(order) for order in work] == [("C2", 7), ("C4", 18)], "two splices are over")
        expect(all(order["is_urgent"] for order in work), "their closures are still open")
        self._narrator.say("work list", f"{len(work)} to splice again while the closures are open")
        self._narrator.show_work(work)

    def _splice_again(self) -> None:
        self._send("again", read_scenario("02_re_splices")["records"])
        expect(not self._parties.worklist("re_splice"), "nothing is left to splice again")
        self._narrator.say("work list", "nothing to splice again; what is left:")
        self._narrator.show_work(self._parties.worklist())

    def _seal_and_test(self) -> None:
        for name, what in (
            ("03_sealing", "closures sealed"),
            ("04_otdr", "OTDR traces"),
            ("05_attenuation", "losses by source and meter"),
        ):
            records = read_scenario(name)["records"]
            self._send(name, records)
            self._narrator.say("field app", f"{len(records)} {what}")
        status = self._parties.status()
        expect(_standing(status) == {"west": "conforming", "east": "nonconforming"}, "the east has one bad splice")
        self._narrator.say("judge", f"verdict {status['verdict_digest'][:16]}…")
        self._narrator.show_segments(status)
        work = self._parties.worklist()
        expect([order["act"] for order in work] == ["relieve_bend", "seal", "retest"], "a bend comes before a splice")
        expect(_at_one_fibre(work[0]) == ("C5", 20), "one fibre is bent")
        self._narrator.show_work(work)

    def _submit_both(self) -> None:
        bare = self._submission(["west", "east"], [])
        expect(bare.status_code == 422, "a nonconforming finding needs a concession")
        self._narrator.say("service", f"without it: {bare.status_code}, {bare.json()['detail']}")
        package = self._issue(self._submission(["west", "east"], [_CONCESSION]))
        self._narrator.say("contractor", f"asks: {_CONCESSION['reason']}")
        self._narrator.say("service", f"package {package['number']} judged from scratch, drawn, signed, read back")

    def _decide_segment_by_segment(self) -> None:
        reason = "No concession for a bent fibre: open C5 and relieve it."
        self._decide({"west": "accepted", "east": "refused"}, reason)
        self._narrator.say("engineer", f"east refused: {reason}")
        status = self._parties.status()
        expect(_standing(status) == {"west": "accepted", "east": "refused"}, "the decision stands")
        self._narrator.show_segments(status)

    def _repair(self) -> None:
        self._send("repair", read_scenario("06_repair")["records"])
        waiting = self._parties.worklist("retest")
        expect([order["fibre_count"] for order in waiting] == [24], "an opened closure voids all its fibres' tests")
        self._narrator.say("work list", "an opened closure voids the tests of its fibres")
        self._narrator.show_work(waiting)
        self._send("retest", read_scenario("07_retest")["records"])
        expect(not self._parties.worklist(), "nothing is left to do")
        self._narrator.say("work list", "empty")

    def _submit_again(self) -> None:
        package = self._issue(self._submission(["east"], []))
        self._decide({"east": "accepted"}, None, signature="own_key")
        self._narrator.say("engineer", f"accepts package {package['number']}")
        self._sign_it_themselves()
        status = self._parties.status()
        expect(_standing(status) == {"west": "accepted", "east": "accepted"}, "both segments are accepted")
        self._narrator.show_segments(status)

    def _sign_it_themselves(self) -> None:
        self._own_key.register(self._parties)
        package = self.packages[-1]
        came = self._own_key.sign(self._parties, package)
        expect(came["state"] == "taken", f"the signed file is taken: {came['problems']}")
        signed = self.packages[-1] = self._parties.ask(_ENGINEER, "GET", f"/v1/packages/{package['id']}")
        expect(not signed["awaited_signatures"], "nobody's signature is awaited any more")
        expect(signed["current_sha256"] != came["file_sha256"], "the service has stamped the signed file with the time")
        self._narrator.say("engineer", "signs the file so sealed with a key of their own and sends it in")
        self._narrator.say("service", "checks it, takes it, and has an authority state the time over it")

    def _bill(self) -> None:
        path = f"/v1/projects/{self._parties.project_id}/notices"
        page = self._parties.ask(TokenKind.BILLING, "GET", path)
        self.notices = page["notices"]
        expect([one["data"]["segment_id"] for one in self.notices] == ["west", "east"], "two segments, two notices")
        more = self._parties.ask(TokenKind.BILLING, "GET", path, params={"after": page["last"]})
        expect(not more["notices"], "nothing is told twice")
        self._narrator.show(
            ("no.", "segment", "item", "cable m", "fibre m", "splices", "pairs"),
            [_notice_row(one) for one in self.notices],
        )

    def _send(self, name: str, records: list[Any]) -> None:
        app = self._parties.field_app(self._queue / name)
        for record in records:
            app.add(record)
        expect(app.send() == 0 and not app.held(), f"every record of {name} is stored")

    def _post(self, records: list[Any]) -> Any:
        path = f"/v1/routes/{self._parties.route_id}/records"
        batch = {"sent_at": datetime.now(UTC).isoformat(), "records": records}
        return self._parties.ask(TokenKind.CREW, "POST", path, json=batch)

    def _submission(self, segments: list[str], concessions: list[Any]) -> Any:
        form = {
            "segments": segments,
            "verdict_digest": self._parties.status()["verdict_digest"],
            "responsible_person": "p-1c9",
            "concessions": concessions,
        }
        return self._parties.call(_CONTRACTOR, "POST", f"/v1/routes/{self._parties.route_id}/submissions", json=form)

    def _issue(self, submission: Any) -> Any:
        issued = self._parties.follow(_CONTRACTOR, submission, lambda job: job["state"] != "queued")
        expect(issued["state"] == "issued", f"the package is made: {issued['problem']}")
        package = self._parties.ask(_ENGINEER, "GET", f"/v1/packages/{issued['package_id']}")
        self.packages.append(package)
        return package

    def _decide(self, words: dict[str, str], reason: str | None, *, signature: str = "service_seal") -> None:
        package = self.packages[-1]
        path = f"/v1/packages/{package['id']}"
        form = {"package_sha256": package["certified_sha256"], "segments": words, "signature": signature}
        form |= {} if reason is None else {"reason": reason}
        seen = self._parties.call(_ENGINEER, "GET", path).headers["ETag"]
        self._parties.ask(_ENGINEER, "POST", f"{path}/decision", json=form, headers={"If-Match": seen})
        self.packages[-1] = self._parties.wait_for(
            _ENGINEER, path, lambda decided: any(one["role"] == "decision" for one in decided["signatures"])
        )


def _at_one_fibre(order: Any) -> tuple[str, int]:
    [site], [fibres] = order["sites"], order["fibres"]
    expect(fibres["first"] == fibres["last"], "one fibre")
    return site, fibres["first"]


def _standing(status: Any) -> dict[str, str]:
    return {segment["id"]: segment["status"] for segment in status["segments"]}


def _notice_row(notice: Any) -> tuple[str, ...]:
    shown = ("segment_id", "billing_item", "cable_length_m", "fibre_length_m", "splices", "terminations")
    return str(int(notice["sequence"])), *(str(notice["data"][name]) for name in shown)

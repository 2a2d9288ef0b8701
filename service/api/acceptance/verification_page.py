"""The page behind a package's code: one calm sheet, without a script and without anything from elsewhere."""

import base64
import hashlib
from datetime import UTC, datetime
from html import escape

from service.vocabulary.signatures import SignatureLevel, SignaturePlace, SignedBy
from service.vocabulary.verification import RoleSignature, VerificationAnswer
from service.vocabulary.words import PackageDecision, PackageStanding

_WORDS = {
    PackageDecision.UNDECIDED: "The owner's engineer has not decided on it yet.",
    PackageDecision.ACCEPTED: "The owner's engineer accepted every segment of it.",
    PackageDecision.DEEMED_ACCEPTED: "It was deemed accepted: nothing was decided in the time that the contract gives.",
    PackageDecision.ACCEPTED_IN_PART: "The owner's engineer accepted some of its segments and refused others.",
    PackageDecision.REFUSED: "The owner's engineer refused it.",
}
_LEVELS = {
    SignatureLevel.B_B: "PAdES B-B: without a proven time; it can be checked until the signing certificate runs out.",
    SignatureLevel.B_T: "PAdES B-T: a time-stamp authority proves when.",
    SignatureLevel.B_LTA: "PAdES B-LTA: a time-stamp authority proves when, and the file holds all that is needed to "
    "check it after the signing certificate has run out.",
}
_PLACES = {
    SignaturePlace.CONTRACTOR: "the contractor's responsible person",
    SignaturePlace.DECISION: "the decision",
    SignaturePlace.ENGINEER: "the owner's engineer",
}
_STYLE = """
body { margin: 0; background: #f4f5f4; color: #1c2126; font: 17px/1.5 system-ui, sans-serif; }
main { max-width: 41rem; margin: 0 auto; padding: 2.5rem 1.25rem 3rem; }
.kind { margin: 0; color: #616b73; }
h1 { margin: 0 0 .75rem; padding-bottom: .6rem; border-bottom: 3px solid #0a4a59; font-size: 2.1rem; line-height: 1.2;
  overflow-wrap: anywhere; }
h2 { margin: 2rem 0 .5rem; font-size: 1.1rem; color: #0a4a59; }
.standing { margin: 1rem 0; font-size: 1.15rem; font-weight: 600; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .35rem 1.25rem; margin: 0; }
dt { color: #616b73; }
dd { margin: 0; overflow-wrap: anywhere; }
code { font: .9rem/1.5 ui-monospace, monospace; overflow-wrap: anywhere; }
.note { color: #616b73; font-size: .95rem; }
@media (max-width: 32rem) { dl { grid-template-columns: 1fr; gap: 0; } dd { margin-bottom: .6rem; } }
"""
_STYLE_DIGEST = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
POLICY = f"default-src 'none'; style-src 'sha256-{_STYLE_DIGEST}'; base-uri 'none'; form-action 'none'"


def verification_page(answer: VerificationAnswer) -> str:
    """Return the page that says what became of a package."""
    number = escape(answer.number)
    return f"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Package {number}</title>
<style>{_STYLE}</style>
</head>
<body>
<main>
<p class="kind">Acceptance package</p>
<h1>{number}</h1>
<p class="standing">{escape(_standing(answer))}</p>
<p>{escape(_WORDS[answer.decision])}</p>
<dl>
{_facts(answer)}
</dl>
<h2>Is the file in your hands this package?</h2>
<p>Its SHA-256 must be one of those above: <code>sha256sum FILE</code> prints it. A file with another one is not what
was issued, whatever it looks like. Its signatures say who sealed it: any PDF reader that checks signatures shows
them.</p>
<p class="note">This page says what became of a document. It does not say that a place or a fibre is safe: local codes
and licensed practice govern.</p>
</main>
</body>
</html>
"""


def _standing(answer: VerificationAnswer) -> str:
    match answer.standing:
        case PackageStanding.CURRENT:
            return "It is the current package of its segments."
        case PackageStanding.SUPERSEDED:
            return f"It is superseded: package {answer.superseded_by} was issued later for its segments."
        case PackageStanding.SUPERSEDED_IN_PART:
            return (
                f"It is superseded in part: package {answer.superseded_by} was issued later for some of its segments; "
                "of the others it is the current package."
            )


def _facts(answer: VerificationAnswer) -> str:
    facts = [("Issued", _time(answer.issued_at))]
    if answer.decided_at is not None:
        facts.append(("Decided", _time(answer.decided_at)))
    facts.append(("SHA-256 as issued", answer.certified_sha256))
    facts.append(("Signed, as issued", _LEVELS[answer.certified_level]))
    for signature in answer.signatures:
        facts.append((f"SHA-256 {_signed(signature)}", signature.file_sha256))
    if answer.current_level is not answer.certified_level:
        facts.append(("Signed, the weakest of all", _LEVELS[answer.current_level]))
    facts += [("Still awaited", _PLACES[place]) for place in answer.awaited_signatures]
    audit = f"SHA-256 of audit entry {answer.audit.sequence}"
    facts.append((audit, answer.audit.hash or "there is no such entry any more"))
    return "\n".join(
        f"<dt>{escape(label)}</dt><dd>{f'<code>{escape(value)}</code>' if 'SHA' in label else escape(value)}</dd>"
        for label, value in facts
    )


def _signed(signature: RoleSignature) -> str:
    whose = _PLACES[signature.role]
    if signature.by is SignedBy.OWN_KEY:
        return f"with the own key of {whose}"
    # In packages of earlier releases the seal could stand in a person's place: it was no signature of theirs.
    means = "over" if signature.role is SignaturePlace.DECISION else "in the place of"
    return f"with the service's seal {means} {whose}"


def _time(instant: datetime) -> str:
    return f"{instant.astimezone(UTC):%Y-%m-%d %H:%M} UTC"

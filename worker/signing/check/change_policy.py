"""Which changes the library lets pass after a signature: its own rules, and one that common tools need."""

from collections.abc import Iterable

from pyhanko.pdf_utils.reader import HistoricalResolver
from pyhanko.sign.diff_analysis import DEFAULT_DIFF_POLICY, ModificationLevel, StandardDiffPolicy
from pyhanko.sign.diff_analysis.rules_api import ReferenceUpdate, WhitelistRule


class _ExtensionsRule(WhitelistRule):
    """Let developers' extensions stand in objects of their own: what they say is held against what they said before."""

    def apply(self, old: HistoricalResolver, new: HistoricalResolver) -> Iterable[ReferenceUpdate]:
        if "/Extensions" in new.root:
            value = new.root.raw_get("/Extensions")
            for reference in new.collect_dependencies(value, since_revision=old.revision + 1):
                if old.is_ref_unassignable(reference):
                    yield ReferenceUpdate(reference)


CHANGE_POLICY = StandardDiffPolicy(
    global_rules=[
        *DEFAULT_DIFF_POLICY.global_rules,
        _ExtensionsRule().as_qualified(ModificationLevel.LTA_UPDATES),
    ],
    form_rule=DEFAULT_DIFF_POLICY.form_rule,
)

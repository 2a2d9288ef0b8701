"""Every clause, whatever document it is of: the criteria can say it, and nothing in it contradicts the rest."""

from typing import Any

import pytest
from pydantic import TypeAdapter

from service.vocabulary.criteria.criteria import AnyCriterion
from service.vocabulary.criteria.review import contradictions_in
from tests.factories import Body, criteria_of
from tests.published import contract_rules, link_rules, splice_rules
from tests.published.check_values import source_of
from tests.published.clauses import Clause, as_criteria

CRITERION: TypeAdapter[AnyCriterion] = TypeAdapter(AnyCriterion)
TABLES = (splice_rules, link_rules, contract_rules)
NAMED = [value for table in TABLES for value in vars(table).values()]
# Grades of connectors are clauses of their own, several under one name.
CLAUSES = [
    one for value in NAMED for one in (value if isinstance(value, tuple) else (value,)) if isinstance(one, Clause)
]


def assert_said(stated: Any, body: Body) -> None:
    """Hold what was read of a criterion against what was written, member by member."""
    for name, own in body.items():
        value = getattr(stated, name)
        if isinstance(own, dict):
            assert_said(value, own)
        elif isinstance(own, tuple) and own and isinstance(own[0], dict):
            for one, other in zip(value, own, strict=True):
                assert_said(one, other)
        else:
            assert (list(value) if isinstance(value, tuple) else value) == own


@pytest.mark.parametrize("clause", CLAUSES, ids=source_of)
def test_the_criteria_can_say_the_clause(clause: Clause) -> None:
    for body in clause.criteria:
        assert_said(CRITERION.validate_python(body), body)


# Of three polishes one is agreed: beside the strictest the others never decide.
@pytest.mark.parametrize("clause", [one for one in CLAUSES if one is not contract_rules.POLISHES], ids=source_of)
def test_nothing_in_a_clause_contradicts_or_repeats_the_rest_of_it(clause: Clause) -> None:
    assert contradictions_in(criteria_of(as_criteria(clause))) == []

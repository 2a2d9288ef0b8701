"""What unit tests share: documents signed by throwaway authorities, made once, and no deadline for properties."""

import os
from datetime import UTC, datetime

import pytest
from hypothesis import settings

from tests.signed_documents import Signed, make_signed

# A busy machine is no counter-example. Each run draws others: those of a day add up to more than one of CI's.
settings.register_profile("no_deadline", deadline=None, max_examples=100 if "CI" in os.environ else 40)
settings.load_profile("no_deadline")
# Before any test module says now.
STARTED_AT = datetime.now(UTC)


@pytest.fixture(scope="session")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Signed:
    return make_signed(tmp_path_factory.mktemp("authority"))


@pytest.fixture(scope="session")
def other_authority(tmp_path_factory: pytest.TempPathFactory) -> Signed:
    return make_signed(tmp_path_factory.mktemp("other"))


@pytest.fixture(scope="session")
def package(tmp_path_factory: pytest.TempPathFactory) -> Signed:
    """Make a package that was decided just now."""
    return make_signed(tmp_path_factory.mktemp("package"), now=STARTED_AT)

"""What unit tests share: documents signed by two throwaway authorities, made once, and no deadline for properties."""

import pytest
from hypothesis import settings

from tests.signed_documents import Signed, make_signed

# A busy machine is no counter-example.
settings.register_profile("no_deadline", deadline=None)
settings.load_profile("no_deadline")


@pytest.fixture(scope="session")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Signed:
    return make_signed(tmp_path_factory.mktemp("authority"))


@pytest.fixture(scope="session")
def other_authority(tmp_path_factory: pytest.TempPathFactory) -> Signed:
    return make_signed(tmp_path_factory.mktemp("other"))

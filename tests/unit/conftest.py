"""What unit tests share: documents signed by two throwaway authorities, made once."""

import pytest

from tests.signed_documents import Signed, make_signed


@pytest.fixture(scope="session")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Signed:
    return make_signed(tmp_path_factory.mktemp("authority"))


@pytest.fixture(scope="session")
def other_authority(tmp_path_factory: pytest.TempPathFactory) -> Signed:
    return make_signed(tmp_path_factory.mktemp("other"))

"""All golden rides are recorded and replayed once, for every test in this folder."""

import pytest

from tests.runtime.results import Results


@pytest.fixture(scope="session")
def results(tmp_path_factory) -> Results:
    return Results(tmp_path_factory.mktemp("golden"))


@pytest.fixture(scope="session")
def replayed(results):
    """Return what a runtime replayed; a runtime that is not to be had here skips the test with its reason."""

    def of(title):
        found = results.replayed[title]
        if isinstance(found, str):
            pytest.skip(f"{title}: {found}")
        return found

    return of

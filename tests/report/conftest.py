"""A browser for the tests of pages."""

import pytest


@pytest.fixture(scope="session")
def browser(tmp_path_factory):
    """A browser without network access to anything but files, one for every process of tests."""
    from tests.report.live.browser import Browser, found_browser

    program = found_browser()
    if program is None:
        pytest.skip("no chromium on the path")
    found = Browser(program, tmp_path_factory.mktemp("profile"))
    yield found
    found.close()

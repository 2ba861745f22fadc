"""What tests of more than one package share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.support.processes import no_child_left


@pytest.fixture
def no_process_survives() -> Iterator[None]:
    """Whatever a test starts it ends; what is left is killed and fails the test."""
    with no_child_left():
        yield

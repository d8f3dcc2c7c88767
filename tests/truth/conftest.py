"""The fixture by which a test of a case says what is true and what was said."""

from __future__ import annotations

from collections.abc import Generator

import pytest
from tests.truth.table import PROPERTY, TruthTable, case_of, variant_of


@pytest.fixture
def truth_table(request: pytest.FixtureRequest) -> TruthTable:
    """Rows of the table of `make truth`, for a test with the marker `case`."""
    case = case_of(request.node)
    assert case, "expected a marker such as @pytest.mark.case('dip-restart')"
    return TruthTable(request.node, case, variant_of(request.node))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """A test of a case that fails before it could compare has a row too; one that compares nothing fails."""
    case = case_of(item) if call.when == "call" else ""
    rows = [value for name, value in item.user_properties if name == PROPERTY]
    if case and call.excinfo is not None and all(row[4] for row in rows):
        row = [case, variant_of(item), "", f"{call.excinfo.typename} in the test", False]
        item.user_properties.append((PROPERTY, row))
    report = yield
    if case and call.excinfo is None and not rows:
        report.outcome, report.longrepr = "failed", "a test of a case compares nothing in the truth table"
    return report

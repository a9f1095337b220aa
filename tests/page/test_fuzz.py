"""Whatever is sent that fits, or nearly fits, the published description: the server never breaks (no 500)."""

from __future__ import annotations

from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, settings
from served import Served

pytestmark = [
    pytest.mark.slow,
    pytest.mark.filterwarnings("ignore::hypothesis.errors.NonInteractiveExampleWarning"),
    pytest.mark.filterwarnings("ignore::pytest.PytestWarning"),
]


@pytest.fixture
def described(served: Served) -> Any:
    document = served.client.get("/api/openapi.json").json()
    document["servers"] = [{"url": served.address.rstrip("/")}]
    return schemathesis.openapi.from_dict(document)


schema = schemathesis.pytest.from_fixture("described")


@schema.parametrize()
@settings(
    max_examples=8,
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_no_call_breaks_the_server(case: Any, served: Served) -> None:
    answer = case.call(base_url=served.address.rstrip("/"), headers={"x-palletwright-key": served.key})
    assert answer.status_code < 500, (case.method, case.path, answer.text[:400])

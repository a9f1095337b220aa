"""Whatever is sent that fits, or nearly fits, the published description: the server never breaks (no 500)."""

from __future__ import annotations

import contextlib
import warnings
from typing import Any
from unittest import SkipTest

import httpx
import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from served import Served

pytestmark = pytest.mark.slow

EXAMPLES = 6
MODES = (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)
LEAST_OPERATIONS = 30


SPARED = ("DELETE", "/run", "papers.zip", "/part", "/archive")
"""What isn't called on things that are there: it throws them away, or works for long."""


def known(case: Any, there: dict[str, str]) -> None:
    """Put the id of something that is there into a call, so that it gets past the door."""
    kind = case.path.split("/")[2]
    spared = any(word in f"{case.method} {case.path}" for word in SPARED)
    if kind in there and "id" in (case.path_parameters or {}) and not spared:
        case.path_parameters["id"] = there[kind]
        if isinstance(case.path_parameters.get("way"), int):
            case.path_parameters["way"] %= 2


def broken(served: Served, operation: Any, mode: GenerationMode, called: list[str], there: dict[str, str]) -> list[str]:
    """Calls of one operation, well formed and not, that the server answered with 500 or more."""
    found: list[str] = []

    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(operation.as_strategy(generation_mode=mode))
    def call(case: Any) -> None:
        known(case, there)
        answer = case.call(base_url=served.address.rstrip("/"), headers={"x-palletwright-key": served.key}, timeout=120)
        called.append(f"{case.method} {case.path} {answer.status_code}")
        if answer.status_code >= 500:
            found.append(f"{case.method} {case.path} {case.path_parameters} {case.body!r:.200}: {answer.text[:300]}")

    with contextlib.suppress(Unsatisfiable, SkipTest):  # an operation that takes anything can't be called wrongly
        call()
    return found


def test_no_call_breaks_the_server(served: Served, plan_data: dict[str, Any]) -> None:
    job, plan = served.planned(plan_data)
    shop = served.client.post("/api/shops", json={}).json()["id"]
    there = {"jobs": job, "plans": plan, "shops": shop}
    document = served.client.get("/api/openapi.json").json()
    schema = schemathesis.openapi.from_dict(document)
    operations = [found.ok() for found in schema.get_all_operations()]
    assert len(operations) >= LEAST_OPERATIONS
    called: list[str] = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        wrong = [
            line for m in MODES for operation in operations for line in broken(served, operation, m, called, there)
        ]
    assert wrong == []
    assert len(called) > 4 * len(operations)
    assert len({c.rpartition(" ")[0] for c in called}) == len(operations)
    assert len({c.rpartition(" ")[0] for c in called if c.endswith(" 200")}) > len(operations) // 3


IDS = ("0", "..", "%00", "a" * 39, "é", "' OR 1=1 --", "example")


@pytest.mark.parametrize(
    "path",
    [
        "/api/jobs/{}",
        "/api/jobs/{}/archive",
        "/api/plans/{}",
        "/api/plans/{}/ways/0",
        "/api/shops/{}/toml",
        "/api/runs/{}/events",
        "/api/parts/{}.glb",
    ],
)
def test_ids_that_nobody_gave_out_are_not_there(served: Served, path: str) -> None:
    for id in IDS:
        if (path, id) == ("/api/shops/{}/toml", "example"):
            continue
        answer = served.client.get(httpx.URL(path.format(id)))
        assert answer.status_code in (404, 422), (path, id, answer.status_code)

"""Bodies are JSON as the standard has it: nothing that could be kept but never be sent back."""

from __future__ import annotations

import json
from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from fastapi.routing import APIRoute


def parsed(text: str | bytes) -> Any:
    """JSON's data. Raises JSONDecodeError for what isn't JSON, or what Python takes for it and JSON can't say."""
    try:
        data = json.loads(text)
        json.dumps(data, ensure_ascii=False, allow_nan=False).encode()
    except json.JSONDecodeError:
        raise
    except (ValueError, RecursionError) as error:
        raise json.JSONDecodeError(f"holds what JSON can't say: {error}", "", 0) from None
    return data


class Strict(Request):
    """A request whose JSON has no endless number, no NaN and no half of a character."""

    async def json(self) -> Any:
        """The body's data. Raises JSONDecodeError, which is answered with 422, for what JSON can't say."""
        return parsed(await self.body())


class StrictRoute(APIRoute):
    """A route that reads its body strictly."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        usual = super().get_route_handler()

        async def handler(request: Request) -> Response:
            return await usual(Strict(request.scope, request.receive))

        return handler

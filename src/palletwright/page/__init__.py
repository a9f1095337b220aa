"""The local page: a server for this machine's own browser, and everything that it keeps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from palletwright.page.server import serve

__all__ = ["serve"]


def __getattr__(name: str) -> Any:
    """Loads the server when it is asked for: its children import this room without it."""
    if name == "serve":
        from palletwright.page.server import serve

        return serve
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")

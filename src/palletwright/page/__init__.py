"""The local page: a server for this machine's own browser, and everything that it keeps."""

from palletwright.page.serve import serve

__all__ = ["serve"]

"""What the shop floor and the office need, from one plan: sheets, bill, programs, models, and the report."""

from palletwright.papers.package import write_papers

__all__ = ["write_papers"]

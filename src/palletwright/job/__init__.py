"""What is asked: part, blank, drawing facts, operations already known, demand, and how it is made today."""

from palletwright.job.model import Job
from palletwright.job.read import least_job, read_job, read_job_and_shop, schema

__all__ = ["Job", "least_job", "read_job", "read_job_and_shop", "schema"]

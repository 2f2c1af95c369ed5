from reports.services.requests import request_report, retry_job
from reports.services.running import run_job
from reports.services.sweeping import sweep_jobs

__all__ = ["request_report", "retry_job", "run_job", "sweep_jobs"]

from reports.services.files import file_of
from reports.services.requests import request_report, retry_job
from reports.services.running import run_job
from reports.services.sweeping import sweep_jobs

__all__ = ["file_of", "request_report", "retry_job", "run_job", "sweep_jobs"]

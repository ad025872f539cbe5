"""Background work that outlives the process that began it: transcribing, reading anew, documents, deliveries, backups.

In comes what is to be done, for whom, and a key so that the same wish twice is one job. A job that was asked for is done once in
effect, by this process or by another that takes over. Holds no decision of its own about a record, and talks no SQL.
"""

from pipeline.jobs.backing_up import BackUp
from pipeline.jobs.deliveries import Deliveries, Handover
from pipeline.jobs.delivering import Deliver
from pipeline.jobs.kinds import KINDS
from pipeline.jobs.model import Asked, Ended, Job, JobsError, JobState
from pipeline.jobs.printing import Print
from pipeline.jobs.rereading import Reread
from pipeline.jobs.service import Jobs
from pipeline.jobs.transcription import Transcribe
from pipeline.jobs.work import Kind, LaterError, Work

__all__ = [
    "KINDS",
    "Asked",
    "BackUp",
    "Deliver",
    "Deliveries",
    "Ended",
    "Handover",
    "Job",
    "JobState",
    "Jobs",
    "JobsError",
    "Kind",
    "LaterError",
    "Print",
    "Reread",
    "Transcribe",
    "Work",
]

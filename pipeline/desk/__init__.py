"""The web application: exam room, review and filing desk, for browsers in the practice.

It shows and passes on; what a record is and how it may change is decided by the stages it calls. `create_app` gives the
application for a database; pages for people and JSON for programs come from the same functions of `store` and `review`.
"""

from pipeline.desk.app import create_app
from pipeline.desk.desk import Desk, DeskOptions

__all__ = ["Desk", "DeskOptions", "create_app"]

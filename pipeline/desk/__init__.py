"""The web application: exam room, review and filing desk, for browsers in the practice.

It shows and passes on; what a record is and how it may change is decided by the stages it calls.
"""

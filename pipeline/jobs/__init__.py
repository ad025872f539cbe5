"""Background work that outlives the process that began it: transcribing, understanding old transcripts anew, documents, backups.

A job that was asked for is done once in effect, by this process or by another that takes over.
"""

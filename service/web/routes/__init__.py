"""The service's addresses, one file a subject.

Each takes its request apart, calls the log, the readers or the bench, and answers.
"""

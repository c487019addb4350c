"""The whole service played in one thread, on a time of its own, against everything that fails.

Real: the service's loop, start, end and reload, the broker session's own code, intake,
writer, evaluator, journal on an SQLite file, outbox and dispatcher. Played: the broker and
the client library, the disk's failures, the clock, the push services, the probes. One seed
decides all; the same seed gives the same run.
"""

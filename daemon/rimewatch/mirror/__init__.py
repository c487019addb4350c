"""A copy of the journal in a time series database, for those who draw their own charts.

The journal is the truth and the mirror follows it, for as long as it takes. Nothing that
is decided about fish ever looks here, and no alarm waits for it. Needs influxdb-client,
an optional dependency (``rimewatch[mirror]``), in every module but ``state``.
"""

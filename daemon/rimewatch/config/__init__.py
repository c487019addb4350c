"""The shop's configuration file: read, refused where it is wrong, made into a ``Shop``.

What the rest of the service needs from here. Nothing in this package talks to a
network, sends a message or asks for the time; it reads the one file it is given
and the files that file names.
"""

from rimewatch.config.advice import warnings_of
from rimewatch.config.exposed import exposed_secrets
from rimewatch.config.problems import ConfigError, Problem
from rimewatch.config.reading import load_shop, read_shop
from rimewatch.config.schema import json_schema

__all__ = [
    "ConfigError",
    "Problem",
    "exposed_secrets",
    "json_schema",
    "load_shop",
    "read_shop",
    "warnings_of",
]

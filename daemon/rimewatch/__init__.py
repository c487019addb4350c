"""rimewatch: watches the cold that raw fish depends on.

Never a guarantee of safety: a record is evidence, the person in charge decides,
and local codes and the licensed authority come first.
"""

__version__ = "0.1.0"

"""The HTML templates, each made ready once; a missing value is an error, not a blank."""

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template

from rimewatch.report import wording


@cache
def template(name: str) -> Template:
    """Return one of the templates beside this module."""
    environment = Environment(
        loader=PackageLoader("rimewatch.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["tied"] = wording.tied
    environment.filters["kind"] = lambda block: type(block).__name__
    return environment.get_template(name)

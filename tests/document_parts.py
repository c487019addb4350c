"""What a document says under one of its headings, for tests that ask after its words."""

from rimewatch.report.document import (
    Block,
    Document,
    Facts,
    Heading,
    Item,
    Listing,
    Paragraph,
    SmallPrint,
    Table,
)


def under(document: Document, heading: str) -> list[Block]:
    """Return the blocks from a heading up to the next."""
    found: list[Block] = []
    is_inside = False
    for block in document.blocks:
        if isinstance(block, Heading):
            is_inside = block.text == heading
        elif is_inside and not isinstance(block, SmallPrint):
            found.append(block)
    return found


def texts(document: Document, heading: str) -> tuple[str, ...]:
    """Return the sentences, points and items below a heading."""
    said: list[str] = []
    for block in under(document, heading):
        match block:
            case Paragraph():
                said.append(block.text)
            case Listing():
                said += [point.text for point in block.points]
            case Item():
                said += [block.head, *block.lines]
    return tuple(said)


def facts(document: Document, heading: str) -> dict[str, str]:
    """Return what stands for each name below a heading."""
    return {
        label: value
        for block in under(document, heading)
        if isinstance(block, Facts)
        for label, value in block.rows
    }


def table(document: Document, heading: str) -> Table:
    """Return the first table below a heading."""
    return next(block for block in under(document, heading) if isinstance(block, Table))


def small_print(document: Document) -> tuple[str, ...]:
    """Return all that is printed small at the end of a document or of its first page."""
    return tuple(
        text for block in document.blocks if isinstance(block, SmallPrint) for text in block.texts
    )

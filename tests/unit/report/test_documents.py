"""Three layouts of one document: none loses a word, whatever the document is about."""

import io
import re
from dataclasses import replace
from datetime import UTC, datetime

import html5lib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from pypdf import PdfReader

from rimewatch.report.document import (
    Block,
    Column,
    Document,
    Facts,
    Heading,
    Item,
    Listing,
    Paragraph,
    Picture,
    Point,
    SmallPrint,
    Table,
    Tasks,
    Tone,
)
from rimewatch.report.document_html import document_html, html_pieces
from rimewatch.report.document_pdf import document_pdf
from rimewatch.report.document_text import document_text
from rimewatch.vocabulary import Paper

XHTML = "{http://www.w3.org/1999/xhtml}"
MADE = datetime(2026, 3, 2, 12, 30, tzinfo=UTC)


def drawn() -> bytes:
    """Return a small picture."""
    file = io.BytesIO()
    Image.new("RGB", (8, 4), "#336699").save(file, "PNG")
    return file.getvalue()


PICTURE = Picture(png=drawn(), ratio=0.5, says="the course of it", legend="Thick line: fish.")
EVERY_KIND: tuple[Block, ...] = (
    Tasks(title="To do today", texts=("Measure the fish.", "Look at the coil.")),
    Heading(text="What it is"),
    Facts(rows=(("Received", "at nine"), ("Supplier", "Northwater Fish"), ("", "by boat"))),
    Paragraph(text="One excursion is open.", tone=Tone.BAD, strong=True),
    Paragraph(text="Times are those of the shop.", tone=Tone.QUIET),
    Listing(points=(Point(text="Put to thaw."), Point(mark="12.", text="Moved to the case."))),
    Heading(text="Chest freezer", starts_page=True),
    Item(
        head="Cold store",
        state="held",
        tone=Tone.GOOD,
        lines=("Air never above.",),
        picture=PICTURE,
    ),
    Item(head="Two probes: nothing to report"),
    PICTURE,
    Table(
        columns=(Column(title="Day", share=1.0), Column(title="Mean", share=1.0, align="R")),
        rows=(("Monday", "3.4 °C"), ("Tuesday", "–")),
        newest_last=True,
    ),
    SmallPrint(texts=("A record is no guarantee.", "The person in charge decides.")),
)
LEGEND = ["Thick", "line:"]
"""It stands where its picture stands, and text has none."""


def document(*blocks: Block, leads: bool = False, shop: str = "Saltmarsh Row Fish") -> Document:
    """Return a document of some blocks."""
    return Document(
        shop=shop,
        title="Week to Sunday",
        when=("As of noon", "The clocks went forward."),
        verdict=("All held.", "Two things to do."),
        tone=Tone.GOOD,
        verdict_leads=leads,
        blocks=blocks,
        made=MADE,
    )


def words_of(blocks: tuple[Block, ...]) -> list[str]:
    """Return every word that the blocks say, but for what only a picture needs."""
    found = re.findall(r"(?:text|title|head|state|mark)='([^']*)'", repr(blocks))
    for block in blocks:
        match block:
            case Facts() | Table():
                found += [cell for row in block.rows for cell in row]
            case Item():
                found += block.lines
            case Tasks() | SmallPrint():
                found += block.texts
            case _:
                pass
    return [word for text in found for word in text.split() if word != "–"]


def words_in_html(html: str) -> list[str]:
    """Return what a browser shows."""
    body = html5lib.parse(html).find(f"{XHTML}body")
    assert body is not None
    return " ".join(body.itertext()).replace("\u2060", "").split()


@pytest.mark.parametrize("leads", [True, False])
@pytest.mark.parametrize("dense", [True, False])
def test_no_layout_loses_a_word(leads: bool, dense: bool) -> None:
    """Each block there is, in each of the three; a kind that is not among them fails."""
    kinds = {type(block) for block in EVERY_KIND}
    assert kinds == set(Block.__args__)  # type: ignore[attr-defined]
    whole = document(*EVERY_KIND, leads=leads)
    whole = replace(whole, is_dense=dense)
    said = [*words_of(EVERY_KIND), "All", "held.", "Week", "Saltmarsh", "noon", "forward."]

    text = document_text(whole).replace("store:", "store").split()
    html = words_in_html(document_html(whole))
    pages = PdfReader(io.BytesIO(document_pdf(whole, paper=Paper.A4))).pages
    paper = " ".join(page.extract_text() for page in pages)

    upper = {word.upper() for word in text}
    assert [word for word in said if word.upper() not in upper] == []
    assert [word for word in [*said, *LEGEND] if word not in html] == []
    assert [word for word in [*said, *LEGEND] if word not in paper] == []
    assert len(pages) == 2
    assert not set(LEGEND) & set(text)


def test_html_is_whole_and_fetches_nothing() -> None:
    """A mail program shows it as it is; each picture says in words what it shows."""
    html = document_html(document(*EVERY_KIND))
    tree = html5lib.HTMLParser(strict=True).parse(html)
    pictures = list(tree.iter(f"{XHTML}img"))

    assert [picture.attrib["alt"] for picture in pictures] == ["the course of it"] * 2
    assert all(picture.attrib["src"].startswith("data:image/png;base64,") for picture in pictures)
    assert not re.search(r"<(script|link|a|iframe)\b|url\(|@import", html)


def test_a_picture_that_is_still_to_be_drawn_keeps_its_place() -> None:
    """It is put in later between two pieces; a page that cannot wait has no legend either."""
    waiting = Picture(png=None, ratio=0.5, says="later", legend="Dashed: limit.")
    whole = document(waiting, Item(head="Cold store", picture=waiting), Paragraph(text="after"))
    first, second, third = html_pieces(whole)

    assert first.endswith('src="')
    assert second.startswith('"')
    assert "after" in third
    assert "<img" not in document_html(whole)
    assert "Dashed" not in document_html(whole)
    pdf = PdfReader(io.BytesIO(document_pdf(whole, paper=Paper.LETTER)))
    assert "Dashed" not in pdf.pages[0].extract_text()


@given(st.text(alphabet="<>&\"'/!-=chartscip", min_size=1))
def test_what_people_write_is_shown_and_not_obeyed(foreign: str) -> None:
    """In HTML no text of a person is a tag, nor the place of a picture."""
    whole = document(Paragraph(text=foreign), Facts(rows=((foreign, foreign),)), shop=foreign)

    html = document_html(whole)
    html5lib.HTMLParser(strict=True).parse(html)
    assert len(html_pieces(whole)) == 1
    assert words_in_html(html).count(foreign) >= 4
    for word in ("<chart>", "<script>"):
        assert word not in document_html(document(Paragraph(text=word)))


def test_text_stays_within_its_width_but_for_a_tables_rows() -> None:
    """A mail of plain text is not broken anew by whoever passes it on."""
    long = "a somewhat long sentence about fish " * 12
    blocks = (
        Heading(text=long),
        Paragraph(text=long),
        Facts(rows=(("Received", long),)),
        Listing(points=(Point(text=long, mark="123."),)),
        Item(head=long, state="held", lines=(long,)),
        Tasks(title=long, texts=(long,)),
        SmallPrint(texts=(long,)),
    )
    lines = document_text(document(*blocks), width=60).splitlines()

    assert max(map(len, lines)) <= 60
    assert sum("fish" in line.lower() for line in lines) > 60


def test_a_tables_columns_are_aligned_as_they_say() -> None:
    """Figures stand below one another at their right."""
    lines = document_text(document(EVERY_KIND[-2])).splitlines()[-3:]

    assert lines == ["  Day        Mean", "  Monday   3.4 °C", "  Tuesday       –"]

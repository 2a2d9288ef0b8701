"""Place the sections on pages, one under the other; drawing only follows what is decided here."""

from collections.abc import Iterator, Sequence

from worker.package.document_model import Facts, Paragraph, Role, Section, Subheading, Table
from worker.package.fonts.font_metrics import FontMetrics
from worker.package.fonts.text_style import (
    BODY,
    BOTTOM,
    CONTENT_WIDTH,
    HEADING,
    LABEL,
    LEFT,
    MEASURE,
    SUBHEADING,
    TOP,
    VALUE,
)
from worker.package.pages.fibre_index import fibre_index
from worker.package.pages.placed import (
    LABEL_WIDTH_PT,
    PAGES_BEFORE,
    Page,
    Placed,
    PlacedHeading,
    PlacedLine,
    PlacedLink,
    PlacedPicture,
    PlacedRows,
)
from worker.package.pages.table_layout import TableLayout, lay_out_table
from worker.package.pictures.picture import Picture

# What goes below a heading, so that it is never left alone at the foot of a page; a table shows at least so many rows.
_LINES_BELOW_HEADING, _ROWS_TOGETHER = 3, 2
_AFTER_HEADING_PT, _AFTER_PARAGRAPH_PT, _AROUND_SUBHEADING_PT, _BEFORE_TABLE_PT = 8.0, 6.0, 10.0, 3.0
_CONTENTS_LEADING_PT = 13.4
_AROUND_CONTENTS_PT, _BETWEEN_CONTENTS_PT = 34.0, 28.0

_Laid = Paragraph | Subheading | Facts | Picture | TableLayout


def place_sections(sections: Sequence[Section], metrics: FontMetrics) -> list[Page]:
    """Return the pages that the sections fill."""
    # The contents stand first and are written last: how many lines they take is known before the pages they name.
    flow = _Flow(metrics, top=TOP - _contents_rows(len(sections) + 1) * _CONTENTS_LEADING_PT - _AROUND_CONTENTS_PT)
    started_on = [flow.add_section(section, number=number) for number, section in enumerate(sections, start=1)]
    # Last, for only now it is known on which pages the others speak of each fibre.
    index = fibre_index(list(zip((section.title for section in sections), flow.fibre_pages, strict=True)))
    started_on.append(flow.add_section(index, number=len(sections) + 1))
    flow.pages[0] += _contents([*sections, index], metrics, pages=started_on)
    return flow.pages


def _contents(
    sections: Sequence[Section], metrics: FontMetrics, *, pages: Sequence[int]
) -> Iterator[PlacedLine | PlacedLink]:
    yield PlacedLine(x=LEFT, y=TOP - SUBHEADING.leading_pt, text="Contents", style=SUBHEADING)
    rows, width_pt = _contents_rows(len(sections)), (CONTENT_WIDTH - _BETWEEN_CONTENTS_PT) / 2
    for index, (section, page) in enumerate(zip(sections, pages, strict=True)):
        column, row = divmod(index, rows)
        left = LEFT + column * (width_pt + _BETWEEN_CONTENTS_PT)
        y, right = TOP - 20 - (row + 1) * _CONTENTS_LEADING_PT, left + width_pt
        yield PlacedLink(box=(left, y - 3, right, y + 9), leads_to=("section", str(index + 1)))
        yield PlacedLine(x=left, y=y, text=str(index + 1), style=LABEL)
        yield PlacedLine(x=left + 22, y=y, text=section.title, style=VALUE)
        yield PlacedLine(x=right - metrics.width(str(page), VALUE), y=y, text=str(page), style=VALUE)


def _contents_rows(sections: int) -> int:
    """Return how many rows the contents take in two columns: in one they push the cautions off their page."""
    return -(-sections // 2)


class _Flow:
    def __init__(self, metrics: FontMetrics, *, top: float) -> None:
        self._metrics = metrics
        self.pages: list[Page] = [[]]
        # For each section, the page on which each fibre first stands.
        self.fibre_pages: list[dict[str, int]] = []
        self._y = top

    def add_section(self, section: Section, *, number: int) -> int:
        """Place a section's heading and blocks, and return the number of the page it starts on."""
        blocks = [lay_out_table(one, self._metrics) if isinstance(one, Table) else one for one in section.blocks]
        self._space(20)
        self._make_room(HEADING.leading_pt + _AFTER_HEADING_PT + self._start_height(blocks))
        self._y -= HEADING.leading_pt
        self._place(PlacedHeading(y=self._y + 5, number=number, title=section.title))
        started_on = self._page
        self.fibre_pages.append({})
        self._space(_AFTER_HEADING_PT)
        for index, block in enumerate(blocks):
            match block:
                case Paragraph():
                    self._add_text(block, above_pt=0.0, below_pt=_AFTER_PARAGRAPH_PT)
                case Subheading():
                    self._make_room(self._start_height(blocks[index:]))
                    self._add_text(block, above_pt=_AROUND_SUBHEADING_PT - 4, below_pt=4.0)
                case Facts():
                    self._add_facts(block)
                case Picture():
                    self._add_picture(block)
                case TableLayout():
                    self._add_table(block)
        return started_on

    @property
    def _page(self) -> int:
        return len(self.pages) + PAGES_BEFORE

    def _start_height(self, blocks: Sequence[_Laid]) -> float:
        """Return what has to stand on the page on which the first of the blocks starts."""
        match blocks:
            case [Subheading() as subheading, *rest]:
                return self._text_height(subheading) + _AROUND_SUBHEADING_PT + self._start_height(rest)
            case [Paragraph() as note, TableLayout() | Picture(), *_] | [
                Paragraph(is_note=True) as note,
                Subheading(),
                *_,
            ]:
                return self._text_height(note) + _AFTER_PARAGRAPH_PT + self._start_height(blocks[1:])
            case [Picture() as picture, *_]:
                return picture.height_pt
            case [TableLayout() as layout, *_]:
                first_rows = range(min(_ROWS_TOGETHER, len(layout.table.rows)))
                return _BEFORE_TABLE_PT + layout.heading_height_pt + sum(map(layout.row_height_pt, first_rows))
            case _:
                return _LINES_BELOW_HEADING * BODY.leading_pt

    def _lines(self, block: Paragraph | Subheading) -> Sequence[str]:
        width_pt = MEASURE if isinstance(block, Paragraph) else CONTENT_WIDTH
        return self._metrics.fold(block.text, block.style, width_pt=width_pt)

    def _text_height(self, block: Paragraph | Subheading) -> float:
        return len(self._lines(block)) * block.style.leading_pt

    def _add_text(self, block: Paragraph | Subheading, *, above_pt: float, below_pt: float) -> None:
        self._space(above_pt)
        for line in self._lines(block):
            self._make_room(block.style.leading_pt)
            self._y -= block.style.leading_pt
            self._place(PlacedLine(x=LEFT, y=self._y, text=line, style=block.style))
        self._space(below_pt)

    def _add_facts(self, facts: Facts) -> None:
        for fact in facts.facts:
            self._make_room(LABEL.leading_pt)
            self._place(PlacedLine(x=LEFT, y=self._y - LABEL.leading_pt, text=fact.label, style=LABEL))
            for line in self._metrics.fold(fact.value, fact.style, width_pt=CONTENT_WIDTH - LABEL_WIDTH_PT):
                self._make_room(LABEL.leading_pt)
                self._y -= LABEL.leading_pt
                self._place(PlacedLine(x=LEFT + LABEL_WIDTH_PT, y=self._y, text=line, style=fact.style))
        self._space(6)

    def _add_picture(self, picture: Picture) -> None:
        self._make_room(picture.height_pt)
        self._place(PlacedPicture(top=self._y, picture=picture))
        self._y -= picture.height_pt
        self._space(10)

    def _add_table(self, layout: TableLayout) -> None:
        self._space(_BEFORE_TABLE_PT)
        first, count = 0, len(layout.table.rows)
        while first < count:
            self._make_room(layout.heading_height_pt + layout.row_height_pt(first))
            end = _last_that_fits(layout, first=first, room_pt=self._y - BOTTOM - layout.heading_height_pt)
            # A single row on a page of its own is easily overlooked.
            if count - end == 1 and end - first > _ROWS_TOGETHER:
                end -= 1
            rows = PlacedRows(top=self._y, layout=layout, first=first, end=end)
            self._place(rows)
            self._note_fibres(rows)
            if end < count:
                self._start_page()
            else:
                # All rows in one sum: taken off one by one, as they are drawn, all below may shift by 0.01 points.
                self._y = self._y - layout.heading_height_pt - sum(map(layout.row_height_pt, range(first, end)))
            first = end
        self._space(10)

    def _note_fibres(self, rows: PlacedRows) -> None:
        for index, column in enumerate(rows.layout.table.columns):
            if column.role in {Role.FIBRE, Role.FIBRE_LINK}:
                for fibre in filter(str.isdigit, set(rows.texts(index))):
                    self.fibre_pages[-1].setdefault(fibre, self._page)

    def _place(self, placed: Placed) -> None:
        self.pages[-1].append(placed)

    def _space(self, height_pt: float) -> None:
        # Space at the head of a page would make its first line start lower than on the page before.
        if self._y < TOP:
            self._y -= height_pt

    def _make_room(self, height_pt: float) -> None:
        if self._y - height_pt < BOTTOM:
            self._start_page()

    def _start_page(self) -> None:
        self.pages.append([])
        self._y = TOP


def _last_that_fits(layout: TableLayout, *, first: int, room_pt: float) -> int:
    """Return the row after the last of those from `first` on that fit."""
    end, count = first, len(layout.table.rows)
    while end < count and (height_pt := layout.row_height_pt(end)) <= room_pt:
        room_pt -= height_pt
        end += 1
    return end

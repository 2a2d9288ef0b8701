"""A table of equal things: what the package says, one module for each section or page of words.

Knows data, wording and pictures, never pages. To add a section:

1. write a module here with one public function that takes the content, the findings or the records, and returns a
   `Section`: usually `listing(title=…, blocks=[table_of(columns, subjects)], note=…)`, where each column (`columns`)
   has its heading, its share of the width, and what it shows of a subject. A quantity of which findings are listed
   is a `FindingTable` in `quantities`, from the columns in `finding_columns`;
2. put its call where it is to be read in `build_view` (`worker/package/view`): contents, index and outline follow;
3. let `tests/printed/expectations` say what its tables have to print by the attached data, and raise `PAGES_FORM`
   (`data/content`) once packages of the present form are in anybody's hands.
"""

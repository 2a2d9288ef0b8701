"""Put a judged route into words and numbers, and draw them: the same input gives the same bytes; pure.

`view` lists the sections in the order in which they are read; `document_model` is what they write and pages draw. One
room for each step: data, wording, pictures, sections, pages; beneath them fonts and archive, and `phrases` for counts
and times. `pyproject.toml` has the arrows between them.
"""

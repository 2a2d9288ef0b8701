"""Text is bounded as it is kept, so that what was taken can be read back."""

from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from service.vocabulary import quantities as q

# Unicode: its canonical decomposition is U+0308 U+0301, and it is excluded from composition, so NFC makes two of one.
GROWS = "\u0344"


@pytest.mark.parametrize(("form", "most"), [(q.Text, 500), (q.LongText, 4000)])
def test_a_text_that_grows_in_its_normal_form_keeps_the_bound_too(form: Any, most: int) -> None:
    text: TypeAdapter[str] = TypeAdapter(form)
    taken = text.validate_python("7" + GROWS * ((most - 1) // 2))
    assert text.validate_python(taken) == taken
    with pytest.raises(ValidationError, match=f"more than {most} characters"):
        text.validate_python("7" + GROWS * (most // 2))

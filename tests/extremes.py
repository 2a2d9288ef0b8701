"""The extremes of every field of every form, found in the API's own schemas: a new field is covered by itself."""

from collections.abc import Iterator, Mapping
from typing import Any

from hypothesis import strategies as st

Schema = Mapping[str, Any]
Path = tuple[str | int, ...]

INSTANTS = [
    *("0001-01-01T00:00:00+14:00", "0001-01-01T00:00:00Z", "0001-01-01T00:00:00-23:59", "0999-12-31T23:59:59+23:59"),
    *("9999-12-31T23:59:59.999999999-23:59", "9999-12-31T23:59:59.999999999Z", "9999-12-31T23:59:59+23:59"),
    *(
        "1999-12-31T23:59:59.999999999Z",
        "2000-01-01T00:00:00Z",
        "2000-01-01T23:59:00+23:59",
        "2000-01-01T00:00:00+00:01",
    ),
    *("2100-12-31T23:59:59.999999999Z", "2101-01-01T00:00:00Z", "2100-12-31T23:59:59-00:01", "2038-01-19T03:14:08Z"),
    *("2016-12-31T23:59:60Z", "2020-02-29T12:00:00-00:00", "2020-01-01T00:00:00+16:00", "2020-01-01T00:00:00-16:00"),
    *("1970-01-01T00:00:00Z", "1883-11-18T12:03:58-04:56", "2020-01-01T24:00:00Z", "2020-01-01T00:00:00"),
]
DAYS = ["0001-01-01", "1999-12-31", "2000-01-01", "2000-02-29", "2100-12-31", "2101-01-01", "9999-12-31", "2023-02-29"]
UUIDS = ["00000000-0000-0000-0000-000000000000", "FFFFFFFF-FFFF-FFFF-FFFF-FFFFFFFFFFFF", "urn:uuid:0", "0" * 32]
TEXTS = ["", " ", "x", "\x00", "\u202e", "\ud7ff\ue000\ufffd", "e\u0301", "\ufb01", "\U0010ffff", "null", "%s", "'"]
BEYOND = [0, -1, 2**31, 2**53, 2**63, 2**64 - 1, -(2**63)]


class Extremes:
    """Values at and just beyond the ends of what schemas allow."""

    def __init__(self, schemas: Mapping[str, Schema]) -> None:
        self._schemas = schemas

    def resolve(self, schema: Schema) -> Schema:
        """Return what a reference stands for."""
        return self._schemas[schema["$ref"].rpartition("/")[2]] if "$ref" in schema else schema

    def leaves(self, schema: Schema, path: Path = ()) -> Iterator[tuple[Path, Schema]]:
        """Give where a form has fields, the optional ones too; of a list the first item stands for all."""
        schema = self.resolve(schema)
        branches = [self.resolve(one) for one in schema.get("oneOf", schema.get("anyOf", ()))]
        if branches:
            for branch in branches:
                yield from self.leaves(branch, path)
            return
        yield path, schema
        for name, one in schema.get("properties", {}).items():
            yield from self.leaves(one, (*path, name))
        if "items" in schema:
            yield from self.leaves(schema["items"], (*path, 0))

    def of(self, schema: Schema) -> st.SearchStrategy[Any]:
        """Draw an extreme of a field, or now and then what is none of its type."""
        schema = self.resolve(schema)
        if branches := schema.get("oneOf", schema.get("anyOf")):
            return st.one_of([self.of(one) for one in branches])
        if "const" in schema:
            return st.just(schema["const"])
        if "enum" in schema:
            return st.sampled_from(schema["enum"])
        return getattr(self, f"_{schema.get('type', 'null')}")(schema)  # type: ignore[no-any-return]

    def _null(self, _: Schema) -> st.SearchStrategy[Any]:
        return st.none()

    def _boolean(self, _: Schema) -> st.SearchStrategy[Any]:
        return st.booleans()

    def _integer(self, schema: Schema) -> st.SearchStrategy[Any]:
        ends = [schema[name] for name in ("minimum", "maximum") if name in schema]
        return st.sampled_from([*ends, *(end + step for end in ends for step in (-1, 1)), *BEYOND])

    def _number(self, schema: Schema) -> st.SearchStrategy[Any]:
        ends = [float(schema[name]) for name in ("minimum", "maximum") if name in schema]
        steps = [end + step for end in ends for step in (-0.001, 0.001)]
        return st.sampled_from([*ends, *ends, *steps, 0.0, -0.0, 5e-324, 1.7976931348623157e308, 0.1 + 0.2])

    def _string(self, schema: Schema) -> st.SearchStrategy[Any]:
        by_format = {"date-time": INSTANTS, "date": DAYS, "uuid": UUIDS}
        if schema.get("format") in by_format:
            return st.sampled_from(by_format[schema["format"]])
        if "pattern" in schema:
            return st.sampled_from(["a", "." * 64, "-", "0" * 64, "f" * 64, "a\n", *TEXTS])
        most = schema.get("maxLength", 100)
        return st.sampled_from(["x" * most, "\u0344" * most, "\U0001f9f5" * most, "x" * (most + 1), *TEXTS])

    def _array(self, schema: Schema) -> st.SearchStrategy[Any]:
        return st.lists(self.of(schema["items"]), max_size=min(schema.get("maxItems", 3), 3))

    def _object(self, schema: Schema) -> st.SearchStrategy[Any]:
        properties, required = schema.get("properties", {}), schema.get("required", ())
        if not properties:
            return st.dictionaries(st.sampled_from(["a", "west", "x" * 64]), self._any_of(schema), max_size=2)
        return st.fixed_dictionaries(
            {name: self.of(properties[name]) for name in required},
            optional={name: self.of(one) for name, one in properties.items() if name not in required},
        )

    def _any_of(self, schema: Schema) -> st.SearchStrategy[Any]:
        others = schema.get("additionalProperties")
        return self.of(others) if isinstance(others, dict) else st.sampled_from([None, 1, "x"])

    def changed(self, body: Any, schema: Schema, *, most: int = 3) -> st.SearchStrategy[Any]:
        """Draw a body with a few of its fields at their extremes."""
        leaves = list(self.leaves(schema))

        @st.composite
        def draw_changed(draw: st.DrawFn) -> Any:
            changed = body
            for path, leaf in draw(st.lists(st.sampled_from(leaves), min_size=1, max_size=most)):
                changed = put(changed, path, draw(self.of(leaf)))
            return changed

        return draw_changed()


def put(body: Any, path: Path, value: Any) -> Any:
    """Return a body with a value put in at a path, made where it is not there; what is in its way stays."""
    if not path:
        return value
    step, rest = path[0], path[1:]
    if isinstance(step, int):
        items = body if isinstance(body, list) else []
        return [put(items[0] if items else None, rest, value), *items[1:]]
    members = body if isinstance(body, dict) else {}
    return {**members, step: put(members.get(step), rest, value)}

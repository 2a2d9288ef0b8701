"""What crews send: each kind of record, and what it touches.

Knows the criteria, for what a rework voids; nothing of storage.

To add a kind: its word in `words.RecordKind`; its form in `measurements`, as a `FibreTest` where it is one, or in
`work`; the form in a union of `record`. For a test between two sites, or of one connection, that is all it takes to be
posted, kept, listed, replaced and withdrawn; judging reads it by a line in `worker/judgement/history/records`, which no
kind may lack. Only a kind about something else says in `record` what it is about and reaches, and in
`service.actions.records.fit` what keeps it off a route; only one that names files is named in `evidence`. An example in
`openapi_examples/post_records` shows and tries it.
"""

"""The HTTP API: parse, call, answer. One room for each area, which knows its own actions and none of the others.

Beside them what all share: the application, the gate, problems, cursors, the document and its examples.

To add an operation: a function under the `router` of its area's module, taking a gate of `gate` for the kinds of token
that it is open to, and behind it a read snapshot for a question of `service/storage` or of an action, or a write
session for one action of the same area. A new module is named in `app`; headers that it answers with in `openapi`. The
examples in `openapi_examples/<name of the function>` are shown in the document, and posted by a test; `make examples`
writes the document anew.
"""

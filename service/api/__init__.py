"""The HTTP API: parse, call, answer. One room for each area, which knows its own actions and none of the others.

Beside them what all share: the application, the gate, problems, cursors, the document and its examples.
"""

"""Where the values of judging become documents, the only place that does; what is read back is read back here too.

Knows every stage's values, and the forms in `service/vocabulary/findings`; decides nothing.
"""

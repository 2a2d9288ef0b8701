"""A criterion made ready for one layout holds what was measured of a fibre against its limit, and gives findings.

A new kind of criterion is its quantity (`words`) and its form in `service/vocabulary/criteria` (one class, and a place
in `AnyCriterion`), one module in `kinds` whose rule gives the findings, a line in `table`, the sentence of its limit
in `worker/package/wording/criteria`, its table in `worker/package/sections/quantities`, a row in
`service/CRITERIA.md`; then `make examples`. What the crew has to do about it is in `worker/judgement/work`. A rule
reads a `FibreMeasured` and gives values; `worker/judgement/documents` alone writes them.

Knows what was measured, and the criteria; nothing of work or of other fibres.
"""

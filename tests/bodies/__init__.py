"""Valid bodies as they are posted, for all tests and the simulator: whoever takes one changes what matters.

Knows nothing of `service` and `worker`: the standard library only. The usual route is A, closure C1, closure C2, B with
1000 m of fibre between neighbours and pigtails at both ends. The work days run in order: spliced on 3 March, sealed on
10 March, tested on 20 March 2025.
"""

from typing import Any

Body = dict[str, Any]

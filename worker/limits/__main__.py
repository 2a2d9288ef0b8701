"""The program of a limited process: `python -m worker.limits WORK PARENT_PID MEMORY CPU_S ANSWER_BYTES`."""

import sys

from worker.limits.child import main

sys.exit(main(sys.argv[1:]))

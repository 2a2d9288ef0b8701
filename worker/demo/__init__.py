"""The demo: servers and authorities that go with the process, and a story played on them over HTTP.

It may know everything below the command line, which alone knows it: no deployment, and no image, holds any of it.
"""


class DemoNotPossibleError(RuntimeError):
    """Something that the demo needs is not on this machine; the message says what would help."""

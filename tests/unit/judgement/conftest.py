"""Property tests here have no deadline: a busy machine is no counter-example."""

from hypothesis import settings

settings.register_profile("no_deadline", deadline=None)
settings.load_profile("no_deadline")

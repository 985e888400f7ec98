"""Settings of every test: no deadline, for a busy machine is not a wrong program."""

from hypothesis import settings

settings.register_profile("corewright", deadline=None)
settings.load_profile("corewright")

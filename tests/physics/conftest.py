"""One hypothesis profile: no deadline, because a shared machine makes a fast function look slow."""

from hypothesis import settings

settings.register_profile("physics", deadline=None, database=None)
settings.load_profile("physics")

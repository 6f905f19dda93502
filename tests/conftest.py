"""For every test: hypothesis judges outcomes, not how long a busy machine takes for them."""

from hypothesis import settings

settings.register_profile("outcomes", deadline=None)
settings.load_profile("outcomes")

"""What holds for every test: none is judged by how long it takes, on however busy a machine."""

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

"""Physical constants in the program's units: millimetres, nanoseconds, gigahertz."""

C_MM_PER_NS = 299.792458
"""Speed of light in vacuum, mm/ns (exact: SI definition of the metre)."""

PERMITTIVITY_MIN = 1.0
"""A wave cannot be faster than in air."""

PERMITTIVITY_MAX = 100.0
"""Above water at 81, nothing a surveyor meets."""

TYPICAL_PERMITTIVITY = 7.0
TYPICAL_PERMITTIVITY_U = 1.5
"""Typical of in-service concrete: common practice, 6 to 9 (from memory, Bungey and Millard group)."""

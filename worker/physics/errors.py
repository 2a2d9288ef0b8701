"""What the physics refuses to work with."""


class PhysicsError(ValueError):
    """A quantity no formula here holds for."""


class UnpairedReadingsError(PhysicsError):
    """Two sequences that belong together have different shapes."""


class NonFiniteReadingError(PhysicsError):
    """A quantity is NaN or infinite."""


class OutOfRangeError(PhysicsError):
    """A quantity lies outside what the formula is valid for."""

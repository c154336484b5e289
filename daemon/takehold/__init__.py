"""takehold: a shooting day's recordings, copied, proven and signed for."""

__version__ = "0.1.0"
